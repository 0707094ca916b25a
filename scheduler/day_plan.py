"""One day's dips in order: the plain rule, how an order is laid out in the day, and what it is worth.

The plain rule, which is also where the search for a better order begins: the caster's hands are never idle
while a tree is fit. Of the trees that are fit at that moment come first those for the pot that is open, then
those whose coat dries soonest, for they may come fit once more today; what dries through the night anyhow
comes last. What is still equal goes by label, then by id.

An order is worth the coats that will be dry when the shop opens again: each dip counts the share of its
drying that it will have had by then, one at most, and up to a twentieth less the later in the day it is made,
so that no hands are idle for nothing. Each time another pot is opened costs its minutes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sensors.clock import MINUTE_MS, Millis

USUAL_DIP_MS = 8 * MINUTE_MS
"""What a dip takes, with stucco and hanging, before the log tells [ms]; common practice."""

LATE = 0.05
"""What a dip at the end of the day is worth less than one at its start [coats]; assumed."""

POT_CHANGE_MS = 3 * MINUTE_MS
"""What opening another pot takes: stirring, and wiping the splash [ms]; assumed."""


@dataclass(frozen=True)
class Candidate:
    """A tree that may be dipped: when it is fit for it, and how long its coming coats will dry.

    fit_p50, fit_p90: when it is or was fit, at the 50th and 90th percentile [ms]; None where not in sight.
    pots: for each coat that is still to go on, the pot's kind. dry_ms: for each, from dip to fit [ms].
    """

    tree_id: int
    label: str
    fit_p50: Millis | None
    fit_p90: Millis | None
    pots: tuple[str, ...]
    dry_ms: tuple[Millis, ...]


@dataclass(frozen=True)
class Day:
    """What a day has: from `now` or the opening [ms] to the closing, until the next opening.

    dip_ms: what a dip takes this caster. pot: the one that is open, "" for none. begun: the tree that is in
    hand or said to be next, which stays first.
    """

    start: Millis
    closes: Millis
    reopens: Millis
    dip_ms: Millis = USUAL_DIP_MS
    pot: str = ""
    begun: int | None = None


@dataclass(frozen=True)
class PlannedDip:
    """A dip in the plan: the how manyth of that tree today (0 first), its pot, from when to when [ms].

    overnight: whether its coat will not be fit before the shop closes.
    """

    tree_id: int
    label: str
    nth: int
    pot: str
    start: Millis
    end: Millis
    overnight: bool


@dataclass(frozen=True)
class Laid:
    """An order laid out: the dips there is time for, the labels of trees that find no place, its worth.

    worth: in coats [-].
    """

    dips: tuple[PlannedDip, ...]
    left_out: tuple[str, ...]
    worth: float


Task = tuple[int, int]
"""Which candidate, by its place in the list, and the how manyth of its dips today."""


def tasks_of(candidates: Sequence[Candidate], day: Day) -> list[Task]:
    """Every dip that might have time today: a tree again and again, as long as it could be dry for it."""
    found = []
    for index, one in enumerate(candidates):
        ready = one.fit_p50
        for nth, dry in enumerate(one.dry_ms):
            if ready is None or max(ready, day.start) + day.dip_ms > day.closes:
                break
            found.append((index, nth))
            ready = max(ready, day.start) + day.dip_ms + dry
    return found


def lay_out(candidates: Sequence[Candidate], order: Sequence[Task], day: Day, sure: bool = False) -> Laid:
    """The dips of an order one after the other, each as soon as its tree is fit; what does not fit falls out.

    With `sure` a tree counts as fit at its 90th percentile, else at its 50th; later coats at what they take.
    """
    at, pot = day.start, day.pot
    done = [0] * len(candidates)
    ready = [one.fit_p90 if sure else one.fit_p50 for one in candidates]
    dips, worth = [], 0.0
    night, length = day.reopens, max(day.closes - day.start, 1)
    for index, nth in order:
        one, fit = candidates[index], ready[index]
        if done[index] != nth or fit is None:
            continue
        changed = bool(pot) and one.pots[nth] != pot
        start = max(at + (POT_CHANGE_MS if changed else 0), fit)
        end = start + day.dip_ms
        if end > day.closes:
            continue
        dry = one.dry_ms[nth]
        worth += min(1.0, (night - end) / max(dry, 1)) - LATE * (end - day.start) / length
        dips.append(
            PlannedDip(one.tree_id, one.label, nth, one.pots[nth], start, end, end + dry > day.closes)
        )
        at, pot, ready[index] = end, one.pots[nth], end + dry
        done[index] = nth + 1
    wanted = {index for index, nth in order if nth == 0}
    left = tuple(candidates[index].label for index in sorted(wanted) if not done[index])
    return Laid(tuple(dips), left, worth)


def plain_order(candidates: Sequence[Candidate], day: Day) -> list[Task]:
    """The order of the plain rule."""
    tasks = dict(reversed(tasks_of(candidates, day)))
    ready = {index: candidates[index].fit_p50 or 0 for index in tasks}
    most = {index: sum(1 for other, _ in tasks_of(candidates, day) if other == index) for index in tasks}
    at, pot, order = day.start, day.pot, []
    begun = next((i for i in tasks if candidates[i].tree_id == day.begun), None)
    while tasks:
        waiting = [index for index in tasks if ready[index] <= at]
        if begun is not None:
            index, begun = begun, None
        elif waiting:
            index = min(waiting, key=lambda one: _turn(candidates[one], tasks[one], pot, one))
        else:
            at = min(ready[one] for one in tasks)
            continue
        one, nth = candidates[index], tasks[index]
        changed = bool(pot) and one.pots[nth] != pot
        end = max(at + (POT_CHANGE_MS if changed else 0), ready[index]) + day.dip_ms
        order.append((index, nth))
        if end <= day.closes:
            at, pot, ready[index] = end, one.pots[nth], end + one.dry_ms[nth]
        if end > day.closes or nth + 1 >= most[index]:
            del tasks[index]
        else:
            tasks[index] = nth + 1
    return order


def _turn(one: Candidate, nth: int, pot: str, index: int) -> tuple[bool, Millis, str, int]:
    return (bool(pot) and one.pots[nth] != pot, one.dry_ms[nth], one.label, index)
