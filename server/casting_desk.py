"""What came of castings, and a year of checks as a table."""

from sensors.clock import Millis, format_time
from server.burnout_desk import ClearingError
from server.dip_desk import known_tree
from server.parts import Parts
from server.store import castings, clearings, trees


def year_of_checks(parts: Parts, start: Millis, end: Millis) -> list[tuple[str, ...]]:
    """The clearings of a time as rows of a table, a heading first: from `start` to before `end` [ms]."""
    rows: list[tuple[str, ...]] = [
        ("cleared_at", "tree", "label", "coats", "answer", "who", "why", "reopened_at", "came_of_it", "where")
    ]
    came = {one.tree_id: one for one in castings.castings(parts.engine) if one.undone_at is None}
    labels = {tree.id: tree.label for tree in trees.ever(parts.engine)}
    for one in clearings.clearings_between(parts.engine, start, end):
        cast = came.get(one.tree_id) if one.reopened_at is None else None
        rows.append(
            (
                format_time(one.at),
                str(one.tree_id),
                labels.get(one.tree_id, ""),
                str(one.sheet.get("coats_on", "")),
                one.answer,
                one.who,
                one.why,
                "" if one.reopened_at is None else format_time(one.reopened_at),
                cast.outcome if cast else "",
                cast.where or cast.spot if cast else "",
            )
        )
    return rows


def say_casting(parts: Parts, tree_id: int, new: castings.NewCasting) -> castings.Casting:
    """Keep what came of a casting. Raises UnknownError, RefusedError, ClearingError for an unknown spot."""
    tree = known_tree(parts, tree_id)
    codes = [spot.code for spot in tree.spots]
    if new.spot and new.spot not in codes:
        raise ClearingError(f"spot {new.spot!r} is none of {tree.label}'s: {', '.join(codes)}")
    return castings.add_casting(parts.engine, tree_id, new, parts.clock.now())
