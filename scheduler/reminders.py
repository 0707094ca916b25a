"""When a person is told: at once, gathered with others, or after the quiet hours; each cause once.

Everything that is due is kept in the ledger under its key, held at first, and then told or found to be moot,
so that a restart in between neither loses nor repeats anything. What was moot may come due again.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from scheduler.due import being_judged_anew, due_of, last_call
from scheduler.forecast import Judge, Notice
from scheduler.ledger import Held, Ledger, Settlement
from scheduler.summary import words
from scheduler.telling import Telling
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis

GRACE_MS = 10 * MINUTE_MS
"""So long after a start or a sleep nothing says that air or nodes are missing: they need a moment [ms]."""

SLEPT_MS = HOUR_MS
"""Between two looks so far apart, or backwards, the machine slept or its clock was set [ms of shop time]."""

BEHIND_MS = 30 * MINUTE_MS
"""A tree is judged up to its newest block of air, minutes ago; this far behind, the nodes have yet to tell of
the time since [ms]."""

STILL_WET = frozenset({"drying", "resting", "unsure"})
"""States of trees that may come fit, or dry through, by the air that is yet to come in."""

MISSED_AFTER_SLEEP = frozenset({"unsure", "silent"})
"""Causes that every start and every sleep brings about by itself."""

AT_ONCE = frozenset({"not-fit"})
"""Causes that wait for no others: a dip may be about to go wrong."""

ONCE_A_DAY = frozenset({"unsure"})
"""Causes whose keys change more often than a person wants to hear of them."""


@dataclass(frozen=True)
class Due:
    """What is due now, by key; and the trees and causes of which nothing can be said at the moment.

    `catching_up`: after a start or a sleep more may come due in a moment, as the air since then comes in.
    """

    notices: Mapping[str, Notice] = field(default_factory=dict)
    trees_unknown: frozenset[int] = frozenset()
    causes_unknown: frozenset[str] = frozenset()
    catching_up: bool = False

    def over(self, held: Held) -> bool:
        """Whether what is held does not hold any more."""
        unknown = held.tree_id in self.trees_unknown or held.cause in self.causes_unknown
        return held.key not in self.notices and not unknown


class Reminders:
    """Looks at the rack, time and again, and sees to it that a person is told of what is due.

    `telling` says how the shop wants to be told; `troubles` lists what is due beside the trees: nodes, the
    air, calibrations. What the ledger keeps is remembered here, only to spare it the asking.
    """

    def __init__(
        self,
        judge: Judge,
        ledger: Ledger,
        telling: Callable[[], Telling] = Telling,
        troubles: Callable[[Millis], Sequence[Notice]] = lambda _now: (),
        grace_ms: Millis = GRACE_MS,
    ) -> None:
        self._judge = judge
        self._ledger = ledger
        self._telling = telling
        self._troubles = troubles
        self._grace_ms = grace_ms
        self._told: dict[int, dict[str, Millis]] = {}
        self._told_beside: set[str] = set()
        self._held: dict[str, Held] | None = None
        self._last_told: Mapping[str, Millis] = {}
        self._looked_at: Millis | None = None
        self._grace_until: Millis = 0
        self._due_now: Due | None = None

    def remind(self, now: Millis) -> int:
        """Keep and tell what is due at shop time `now` [ms]; returns how many notices were new."""
        if self._looked_at is None or not 0 <= now - self._looked_at < SLEPT_MS:
            self._grace_until = now + self._grace_ms
        self._looked_at = now
        held = self._held_now()
        telling = self._telling()
        self._due_now = due = self._due(now, telling, held)
        new = tuple(notice for notice in due.notices.values() if self._is_new(notice, held))
        moot = frozenset(one.key for one in held.values() if due.over(one))
        ready = [due.notices[key] for key in held if key in due.notices] + list(new)
        tell = tuple(ready) if self._may_go(due, ready, now, telling) else ()
        settlement = Settlement(new, moot, tell)
        if settlement == Settlement():
            return 0
        in_quiet = [one.key for one in held.values() if telling.quiet.holds(one.at)]
        after_quiet = len(tell) > 1 and any(notice.key in in_quiet for notice in tell)
        kept = self._ledger.settle(settlement, partial(words, after_quiet=after_quiet), now)
        self._note(settlement)
        return kept

    def still_due(self, keys: Sequence[str]) -> bool:
        """Whether any of these was still due at the latest look; what was not looked at yet counts as due."""
        due = self._due_now
        return due is None or bool(due.trees_unknown) or any(key in due.notices for key in keys)

    def _due(self, now: Millis, telling: Telling, held: Mapping[str, Held]) -> Due:
        early = now < self._grace_until
        outlooks = self._judge.outlooks()
        put_offs = self._ledger.put_offs()
        notices: list[Notice] = []
        unknown = set()
        for outlook in sorted(outlooks, key=lambda outlook: outlook.tree_id):
            told = self._told_of(outlook.tree_id)
            kept = {**told, **{one.key: one.at for one in held.values() if one.tree_id == outlook.tree_id}}
            if being_judged_anew(outlook, kept) or (early and outlook.state == "unsure"):
                unknown.add(outlook.tree_id)
            else:
                notices += due_of(outlook, now, telling, told, put_offs.get(outlook.tree_id))
        call = last_call(outlooks, now, telling)
        notices += [call] if call is not None else []
        missed = MISSED_AFTER_SLEEP if early else frozenset()
        notices += [notice for notice in self._troubles(now) if notice.cause not in missed]
        wanted = {notice.key: notice for notice in notices if notice.cause in telling.on}
        behind = any(one.state in STILL_WET and one.as_of < now - BEHIND_MS for one in outlooks)
        return Due(wanted, frozenset(unknown), missed, catching_up=early and behind)

    def _may_go(self, due: Due, ready: Sequence[Notice], now: Millis, telling: Telling) -> bool:
        """Not in the quiet hours; else at once, unless of each kind a message went out just before.

        While the air of a sleep comes in, all but what waits for nothing is gathered.
        """
        if telling.quiet.holds(now):
            return False
        if any(notice.cause in AT_ONCE for notice in ready):
            return True
        return not due.catching_up and any(
            notice.cause not in self._last_told
            or not 0 <= now - self._last_told[notice.cause] < telling.gather_ms
            for notice in ready
        )

    def _is_new(self, notice: Notice, held: Mapping[str, Held]) -> bool:
        if notice.key in held or notice.key in self._told_beside:
            return False
        if notice.tree_id is None:
            return True
        kept = {**self._told_of(notice.tree_id), **{one.key: one.at for one in held.values()}}
        start = f"{notice.cause}:{notice.tree_id}:"
        return notice.key not in kept and not (
            notice.cause in ONCE_A_DAY
            and any(key.startswith(start) and abs(notice.at - at) < DAY_MS for key, at in kept.items())
        )

    def _note(self, settlement: Settlement) -> None:
        """Remember what the ledger keeps now."""
        for notice in settlement.tell:
            if notice.tree_id is None:
                self._told_beside.add(notice.key)
            else:
                self._told_of(notice.tree_id)[notice.key] = notice.at
        self._held = None
        self._last_told = self._ledger.last_told()

    def _held_now(self) -> dict[str, Held]:
        if self._held is None:
            self._held = {one.key: one for one in self._ledger.held()}
            self._last_told = self._ledger.last_told()
        return self._held

    def _told_of(self, tree_id: int) -> dict[str, Millis]:
        if tree_id not in self._told:
            self._told[tree_id] = dict(self._ledger.told(tree_id))
        return self._told[tree_id]
