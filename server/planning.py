"""The plan of the shop: the next dips in order, the way of each tree to burnout, and the day of the pour."""

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from threading import Lock

import numpy as np

from scheduler.day_plan import USUAL_DIP_MS, Candidate, Day, Laid, PlannedDip
from scheduler.decoder import planned
from scheduler.forecast import Outlook
from scheduler.pour_day import CoatAhead, Latest, TreeWay, burnout, coats_ahead, latest_dips
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Clock, Millis
from server.coat_times import CoatTimes
from server.dry_rules import dry_limit_of
from server.store import dips as dip_store
from server.store import plans as plan_store
from server.store import shop as shop_store
from server.store import trees as tree_store
from server.store.engine import Engine
from server.store.values import Dip, Tree
from server.verdicts import Rack
from server.work_hours import Window, WorkHours, work_hours

DAYS_AHEAD = 60
"""So many days of work are looked through [d]."""

CLOSE_TOGETHER_MS = 25 * MINUTE_MS
LEAST_GAPS = 5
"""Dips no further apart than this [ms] were made one after the other; of so many gaps the median counts."""

BEFORE_LEAVING = 3
SHOWN_SETTING, NEXT_SETTING = "plan_shown", "plan_next"
"""Keys of the settings that hold the plan as it is shown, and the tree that is said to be next."""


class PourDayError(ValueError):
    """A pour day that cannot be: the message names the day and the limit."""


@dataclass(frozen=True)
class TreeAhead:
    """What is ahead of one tree.

    burnout: percentiles 10, 50, 90 of when it is dry through and rested [ms]. latest: for each coat to come,
    how late it may go on for the pour day, () where none is set. sure: whether its drying was reckoned.
    """

    tree: Tree
    outlook: Outlook
    on: int
    coats: tuple[CoatAhead, ...]
    burnout: tuple[Millis, Millis, Millis]
    latest: tuple[Latest, ...]
    sure: bool


@dataclass(frozen=True)
class ShopPlan:
    """Everything that is planned, as of `made_at` [ms].

    day: the order of the dips that are shown. trouble: why there is none, "" where there is one.
    before_leaving: the dips to make last, whose coats dry through the night. dip_ms: what a dip takes.
    left_out: fit or soon fit, and no time for it. blocked: labels of trees that cannot be planned.
    """

    made_at: Millis
    hours: WorkHours
    window: Window | None
    day: Laid
    trouble: str
    before_leaving: tuple[PlannedDip, ...]
    dip_ms: Millis
    dips_learned: int
    trees: tuple[TreeAhead, ...]
    blocked: tuple[str, ...]
    pour_at: Millis | None
    next_tree: int | None


@dataclass
class PlanDesk:
    """Makes the plan anew when it is asked for; the order that was shown stays while it is as good.

    One plan at a time: two that are asked for at once come one after the other and say the same.
    """

    times: CoatTimes = field(default_factory=CoatTimes)
    _lock: Lock = field(default_factory=Lock)
    _latest: tuple[object, ShopPlan] | None = None

    def plan(self, engine: Engine, rack: Rack, clock: Clock) -> ShopPlan:
        """The plan as of now. What has not changed within a minute is not planned anew."""
        with self._lock:
            now = clock.now()
            seen = self._seen(engine, rack, now)
            if (
                self._latest is not None
                and self._latest[0] == seen
                and all(one.sure for one in self._latest[1].trees)
            ):
                return self._latest[1]
            made = self._made(engine, rack, now)
            self._latest = seen, made
            return made

    def say_next(self, engine: Engine, tree_id: int | None) -> None:
        """Say which tree is in hand or next: it stays first until it is dipped; None takes that back."""
        on = 0 if tree_id is None else len(dip_store.dips(engine, tree_id))
        shop_store.set_setting(engine, NEXT_SETTING, None if tree_id is None else [tree_id, on])

    def _seen(self, engine: Engine, rack: Rack, now: Millis) -> object:
        """All that a plan depends on."""
        places = {outlook.place for outlook in rack.outlooks()}
        expected = {
            place: (coming[0].step, coming[1].key)
            for place in places
            if (coming := rack.coming(place)) is not None
        }
        return (
            now // MINUTE_MS,
            tuple(replace(outlook, remaining=None, reason="") for outlook in rack.outlooks()),
            expected,
            work_hours(engine),
            dry_limit_of(engine),
            plan_store.pour_day(engine),
            shop_store.setting(engine, NEXT_SETTING),
        )

    def _made(self, engine: Engine, rack: Rack, now: Millis) -> ShopPlan:
        hours = work_hours(engine)
        windows = hours.windows(now, DAYS_AHEAD)
        trees = {tree.id: tree for tree in tree_store.rack(engine)}
        dips = {tree_id: dip_store.dips(engine, tree_id) for tree_id in trees}
        dip_ms, learned = dip_length(dips.values())
        pour_at = plan_store.pour_day(engine)
        dry_limit = dry_limit_of(engine)
        ahead, blocked, candidates = [], [], []
        for outlook in sorted(rack.outlooks(), key=lambda one: (one.label, one.tree_id)):
            tree = trees.get(outlook.tree_id)
            coming = None if tree is None else rack.coming(tree.place)
            if tree is None or outlook.state in ("cleared", "scrapped"):
                continue
            ready = None if coming is None else ready_times(outlook, now, coming[1].count)
            if coming is None or ready is None:
                blocked.append(outlook.label)
                continue
            seconds, sure = self.times.of(tree, *coming, dry_limit)
            on = outlook.coat
            to_come = np.rint(seconds[on:] * SECOND_MS).astype(np.int64)
            if len(to_come):
                to_come[-1] += round(tree.resting_hours * HOUR_MS)
            way = TreeWay(
                ready, tuple(tuple(row.tolist()) for row in to_come), tuple(coming[1].weights.tolist())
            )
            coats = coats_ahead(way, windows, dip_ms)
            latest = () if pour_at is None else latest_dips(way, pour_at, windows, dip_ms)
            ahead.append(TreeAhead(tree, outlook, on, coats, burnout(way, windows, dip_ms), latest, sure))
            if len(to_come):
                candidates.append(candidate_of(outlook, tree, seconds[on:], now))
        window = windows[0] if windows else None
        kept = shop_store.setting(engine, NEXT_SETTING)
        said = next((one.tree.id for one in ahead if [one.tree.id, one.on] == kept), None)
        day, trouble = self._day(engine, candidates, windows, dip_ms, _pot(dips.values(), trees, now), said)
        return ShopPlan(
            now,
            hours,
            window,
            day,
            trouble,
            before_leaving(day.dips),
            dip_ms,
            learned,
            tuple(ahead),
            tuple(blocked),
            pour_at,
            said if any(one.tree_id == said for one in candidates) else None,
        )

    def _day(
        self,
        engine: Engine,
        candidates: Sequence[Candidate],
        windows: Sequence[Window],
        dip_ms: Millis,
        pot: str,
        said: int | None,
    ) -> tuple[Laid, str]:
        if not windows:
            return Laid((), tuple(one.label for one in candidates), 0.0), (
                "No hours of work are set, so nothing can be planned. Set on which days you work."
            )
        (start, closes), reopens = windows[0], windows[1][0] if len(windows) > 1 else windows[0][1] + DAY_MS
        day = Day(start, closes, reopens, dip_ms, pot, said)
        kept = shop_store.setting(engine, SHOWN_SETTING)
        before = [(tree, nth) for tree, nth in kept["dips"]] if kept and kept["closes"] == closes else []
        # A dip that was made since moves what is left of its tree one forward.
        done = {one.tree_id: len(one.pots) for one in candidates}
        if kept and before:
            went = {int(tree): left - done.get(int(tree), left) for tree, left in kept["left"].items()}
            before = [(tree, nth - went.get(tree, 0)) for tree, nth in before]
        laid = planned(candidates, day, before)
        shown = {
            "closes": closes,
            "dips": [[dip.tree_id, dip.nth] for dip in laid.dips],
            "left": {str(tree): left for tree, left in done.items()},
        }
        if shown != kept:
            shop_store.set_setting(engine, SHOWN_SETTING, shown)
        return laid, ""


def ready_times(outlook: Outlook, now: Millis, members: int) -> tuple[Millis, ...] | None:
    """When each of so many members calls a tree ready for what comes next [ms]; None where nobody can tell.

    The quantiles of its forecast are spread over the members; what is past is now.
    """
    if outlook.state == "unsure":
        return None
    if outlook.state in ("new", "fit", "through"):
        return (now,) * members
    when = outlook.fit_at
    if when.p50 is None:
        return None
    low = when.p50 if when.p10 is None else when.p10
    high = when.p50 + 2 * (when.p50 - low) + 12 * HOUR_MS if when.p90 is None else when.p90
    levels = (np.arange(members) + 0.5) / members
    dealt = np.random.default_rng(outlook.tree_id).permutation(members)
    times = np.interp(levels, (0.1, 0.5, 0.9), (low, when.p50, high))[dealt]
    return tuple(max(round(float(time)), now) for time in times)


def candidate_of(outlook: Outlook, tree: Tree, seconds: np.ndarray, now: Millis) -> Candidate:
    """A tree as the day's plan takes it, by the medians of how its coats to come dry."""
    fit = outlook.state in ("new", "fit")
    median = [round(float(value) * SECOND_MS) for value in np.median(seconds, axis=1)]
    kinds = tuple(coat.kind for coat in tree.recipe.coats[outlook.coat :])
    p50 = now if fit else outlook.fit_at.p50
    p90 = now if fit else outlook.fit_at.p90
    return Candidate(outlook.tree_id, outlook.label, p50, p90, kinds, tuple(median))


def before_leaving(dips: Sequence[PlannedDip]) -> tuple[PlannedDip, ...]:
    """The last dips of the day, whose coats have the night to dry: three at most, the last ones."""
    return tuple(dip for dip in dips if dip.overnight)[-BEFORE_LEAVING:]


def dip_length(logs: Iterable[Sequence[Dip]]) -> tuple[Millis, int]:
    """What a dip takes this caster [ms], and from how many gaps that was learned; 0: the usual eight minutes.

    The median of the gaps between dips that were made one after the other.
    """
    times = sorted(dip.at for log in logs for dip in log)
    gaps = [
        later - earlier
        for earlier, later in pairwise(times)
        if MINUTE_MS <= later - earlier <= CLOSE_TOGETHER_MS
    ]
    if len(gaps) < LEAST_GAPS:
        return USUAL_DIP_MS, 0
    return round(statistics.median(gaps)), len(gaps)


def pour_day_said(engine: Engine, clock: Clock, at: Millis | None) -> None:
    """Say when burnout for the next pour begins [ms]; None for none. Raises PourDayError for what is past."""
    now = clock.now()
    if at is not None and at <= now:
        raise PourDayError("That pour day is past: burnout must begin later than now.")
    if at is not None and at > now + DAYS_AHEAD * DAY_MS:
        raise PourDayError(
            f"That pour day is more than {DAYS_AHEAD} days ahead, further than can be planned."
        )
    plan_store.set_pour_day(engine, at, now)


def _pot(logs: Iterable[Sequence[Dip]], trees: dict[int, Tree], now: Millis) -> str:
    """The kind of the pot that is open: of the last dip within half an hour; "" for none."""
    last = max((dip for log in logs for dip in log), key=lambda dip: dip.at, default=None)
    if last is None or now - last.at > 30 * MINUTE_MS:
        return ""
    coats = trees[last.tree_id].recipe.coats
    return coats[min(last.coat, len(coats)) - 1].kind
