"""What the trees of a place were reckoned with where no reading came: said beside each gap of its air."""

from collections.abc import Sequence

from sensors.bridging import Bridge
from sensors.clock import Millis
from server.gaps import Gap
from server.pages.frame import Shop
from server.parts import Parts
from server.stays import places_along
from server.store import trees
from server.verdicts import CoatVerdict

_Way = Sequence[tuple[Millis, str]]
"""Since when [ms] a tree hung in which place."""


def bridged_words(parts: Parts, shop: Shop, place: str, gaps: Sequence[Gap]) -> list[str]:
    """For each gap, a sentence without its stop on what the coats that dried there were taken through it in.

    It is told as the coats' own records have it, which is what the verdicts rest on.
    """
    if not gaps:
        return []
    coats = [
        (coat, places_along(trees.events(parts.engine, outlook.tree_id)))
        for outlook in parts.rack.outlooks()
        if (verdict := parts.rack.tree(outlook.tree_id)) is not None
        for coat in verdict.coats
        if coat.gaps
    ]
    return [_words(shop, place, gap, coats) for gap in gaps]


def _words(shop: Shop, place: str, gap: Gap, coats: Sequence[tuple[CoatVerdict, _Way]]) -> str:
    went = False
    bridges: list[Bridge] = []
    for coat, way in coats:
        went = went or any(_here(place, way, gap, start, end) for start, end in coat.gaps)
        bridges += [one for one in coat.bridges if _here(place, way, gap, one.start, one.end)]
    if bridges:
        cold = min(one.lowest_temp_c for one in bridges)
        humid = max(one.highest_rh_pct for one in bridges)
        return (
            "No reading here: the trees were worked with the worst air of that hour of the last days, "
            f"down to {shop.units.temp_words(cold, 0)} and up to {humid:.0f} %RH, "
            "and none is called fit by that guess"
        )
    if went:
        return "No reading here, and no days before to go by: the trees were taken not to dry"
    return "No reading here; no tree was worked through it"


def _here(place: str, way: _Way, gap: Gap, start: Millis, end: Millis) -> bool:
    """Whether a stretch of a coat lies in a gap of a place, while its tree hung there."""
    begin = max(start, gap[0])
    if begin >= min(end, gap[1]):
        return False
    here = [at for since, at in way if since <= begin]
    return bool(here) and here[-1] == place
