"""Spots as they are typed into a form: the caster's own words, and a code."""

from server.api.schemas import MOST_SPOTS
from server.drying.spots import SpotError, parse_spot
from server.plain_names import checked_name
from server.store.values import TreeSpot

Lines = tuple[tuple[str, str], ...]
"""Pairs of words and code, one for each spot."""


def spots_typed(lines: Lines) -> tuple[TreeSpot, ...]:
    """The spots of a form. A spot with no words of its own is called what it is. Raises SpotError.

    >>> spots_typed((("vent joint", "joint:30"), ("", "face"), ("", "")))
    (TreeSpot(code='joint:30', name='vent joint'), TreeSpot(code='face', name='face'))
    """
    spots: dict[str, TreeSpot] = {}
    for name, code in lines:
        words = checked_name("the name of a spot", name, may_be_empty=True)
        if not code.strip():
            if words:
                raise SpotError(f"spot {words!r} has no code, like face or joint:30")
            continue
        spot = parse_spot(code)
        if spot.code in spots:
            raise SpotError(f"spot {spot.code} is there twice: name it once for both")
        spots[spot.code] = TreeSpot(spot.code, words or spot.describe())
    if not spots:
        raise SpotError("a tree needs at least one spot, like face")
    if len(spots) > MOST_SPOTS:
        raise SpotError(f"{len(spots)} spots are too many: a tree may have up to {MOST_SPOTS}")
    return tuple(spots.values())
