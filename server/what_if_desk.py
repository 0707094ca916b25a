"""Answers what would save time on a tree on the rack: asked for by a person, reckoned when it is asked."""

from threading import Lock

from server.drying.shell import SpotShell
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimits
from server.drying.whatif import WhatIf, what_if
from server.judging import TreeJudge
from server.tree_record import Committed

MOST_KEPT = 50


class WhatIfDesk:
    """One question at a time; an answer is kept while its state and the shop's limits stand."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._known: dict[int, tuple[Committed, WarningLimits, WhatIf]] = {}

    def ask(self, tree_id: int, judge: TreeJudge, limits: WarningLimits = DEFAULT_LIMITS) -> WhatIf | None:
        """What would save time on that tree; None while it has no coat or its air is not known.

        limits: the air that the shop's coats want, outside which nothing is tried.

        From any thread: the committed state is never changed, and the shells are copies of its own.
        """
        state = judge.state
        if state is None or state.air is None or len(state.coats) < len(judge.dips):
            return None
        with self._lock:
            known = self._known.get(tree_id)
            if known is not None and known[0] is state and known[1] == limits:
                return known[2]
            last = len(state.coats) >= judge.tree.coats_in_all
            shells = [SpotShell.from_bytes(shell.to_bytes()) for shell in state.shells]
            fit = not last and state.coats[-1].fit_at is not None
            found = what_if(
                shells,
                state.air,
                last,
                judge.ensemble,
                limits,
                fit_already=fit,
                dry_limit=judge.tree.dry_limit,
            )
            if len(self._known) >= MOST_KEPT:
                self._known.clear()
            self._known[tree_id] = (state, limits, found)
            return found
