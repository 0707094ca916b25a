""" "Later" on a notice: one reminder of its tree after a while, unless it was dipped meanwhile."""

from scheduler.ledger import PutOff
from sensors.clock import MINUTE_MS
from server.parts import Parts
from server.store import put_off as kept
from server.store.engine import RefusedError, UnknownError
from server.store.held_notices import trees_of
from server.store.trees import tree

LATER_MIN = 30
"""How long "Later" is where nobody says otherwise [min of shop time]."""

LONGEST_MIN = 24 * 60


def put_off(parts: Parts, tree_id: int, minutes: int = LATER_MIN) -> PutOff:
    """Remind of a tree once more after that many minutes of shop time; said again, the last word counts.

    Raises UnknownError where there is no such tree, RefusedError where there is nothing to be reminded of,
    and ValueError for minutes outside 1 to a day.
    """
    if not 1 <= minutes <= LONGEST_MIN:
        raise ValueError(f"later by {minutes} min is outside 1 to {LONGEST_MIN} min")
    known = tree(parts.engine, tree_id)
    if known is None:
        raise UnknownError(f"there is no tree {tree_id}")
    verdict = parts.rack.tree(tree_id)
    if known.left or verdict is None:
        raise RefusedError(f"{known.label} is off the rack: there is nothing to be reminded of")
    dipped_at = verdict.outlook.dipped_at
    if dipped_at is None:
        raise RefusedError(f"{known.label} has no coat yet: there is nothing to be reminded of")
    now = parts.clock.now()
    return kept.add_put_off(parts.engine, tree_id, dipped_at, now, now + minutes * MINUTE_MS)


def put_off_notice(parts: Parts, notice_id: int, minutes: int = LATER_MIN) -> list[PutOff]:
    """Put off every tree that a notice speaks of and that still hangs there with a coat on.

    Raises UnknownError where there is no such notice, and ValueError as `put_off` does.
    """
    found = []
    for tree_id in trees_of(parts.engine, notice_id):
        try:
            found.append(put_off(parts, tree_id, minutes))
        except (UnknownError, RefusedError):
            continue  # one of several has left the rack meanwhile; the others are what is wanted
    return found
