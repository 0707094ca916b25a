"""A tree's drying chart: which spot is looked at, over which coats, with what was measured on it."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sensors.clock import Millis
from server.drying.instruments import Instruments
from server.drying.verdict import thin
from server.gaps import settled
from server.pages.chart import Drying, drying_chart, ranked
from server.pages.frame import Shop
from server.pages.readout import ReadoutRow
from server.pages.strips import Point, Strip
from server.pages.traces import Word, trace_of
from server.pages.wording import at_words
from server.parts import Parts
from server.shop_instruments import instruments_of
from server.stays import places_along
from server.store import measurements as measurement_store
from server.store import trees as tree_store
from server.store.values import Measurement, Tree
from server.verdicts import AirPoint, SpotVerdict, TreeVerdict

MOST_AIR = 240
"""Points of the air that are drawn."""

WORDS = {
    "damp": ("damp to the touch", False),
    "dry": ("dry to the touch", True),
    "dark": ("still dark", False),
    "pale": ("gone pale", True),
}


@dataclass(frozen=True)
class Choice:
    """A way to look at the chart: where it leads, its words, and whether it is this one."""

    href: str
    words: str
    here: bool


@dataclass(frozen=True)
class ChartPart:
    """The chart with what it is of, the ways to look at it, and its figures as a table."""

    picture: Markup
    of: str
    spots: tuple[Choice, ...]
    spans: tuple[Choice, ...]
    most: int
    rows: tuple[ReadoutRow, ...]


def chart_part(
    parts: Parts, shop: Shop, tree: Tree, verdict: TreeVerdict | None, spot: str, whole: bool
) -> ChartPart | None:
    """The chart at a spot (its code; "" for the slowest), of this coat or of the `whole` tree."""
    if verdict is None or not verdict.spots:
        return None
    chosen = chosen_spot(verdict, spot)
    order = ranked(verdict.spots, chosen.code)
    before = verdict.coats[:-1] if whole else ()
    air = settled(_air(parts, tree, verdict, shop.now) if whole else verdict.air, shop.now)
    measured = [one for one in measurement_store.measurements(parts.engine, tree.id) if one.undone_at is None]
    by = instruments_of(parts.engine)
    drying = Drying(
        traces=[trace_of(one, before) for one in (order[:1] if whole else order)],
        limits=[chosen.limit],
        dips=[(coat.number, coat.dipped_at) for coat in verdict.coats],
        air=air,
        words=_words(measured),
        temps=_temps(shop, tree, measured, by),
        strips=_weighings(shop, measured, verdict.coats[0 if whole else -1].dipped_at, by),
        whole=whole,
        units=shop.units,
    )
    picture, readout = drying_chart(drying, shop.now, shop.zone)
    if not picture:
        return None
    here, slowest = f"/trees/{tree.id}", verdict.outlook.slowest_spot
    span = "&coats=all" if whole else ""
    return ChartPart(
        picture=Markup(picture),
        of=f"{chosen.name[:1].upper()}{chosen.name[1:]}, {'all coats' if whole else 'this coat'}",
        spots=tuple(
            Choice(
                f"{here}?spot={one.code}{span}#chart",
                f"{one.name}{' · slowest' if one.code == slowest else ''}",
                one is chosen,
            )
            for one in (verdict.spots if len(verdict.spots) > 1 else ())
        ),
        spans=(
            Choice(f"{here}?spot={chosen.code}#chart", "This coat", not whole),
            Choice(f"{here}?spot={chosen.code}&coats=all#chart", "All coats", whole),
        )
        if len(verdict.coats) > 1
        else (),
        most=len(readout.xs) - 1,
        rows=readout.rows,
    )


def chosen_spot(verdict: TreeVerdict, spot: str) -> SpotVerdict:
    """The spot that is looked at: the one asked for, else the slowest, else the first."""
    by_code = {one.code: one for one in verdict.spots}
    return by_code.get(spot) or by_code.get(verdict.outlook.slowest_spot or "") or verdict.spots[0]


def _air(parts: Parts, tree: Tree, verdict: TreeVerdict, now: Millis) -> Sequence[AirPoint]:
    """The air since the first dip, of each place while the tree hung there; no more than can be seen."""
    start = verdict.coats[0].dipped_at
    stays = places_along(tree_store.events(parts.engine, tree.id)) or [(start, tree.place)]
    air: list[AirPoint] = []
    for number, (since, place) in enumerate(stays):
        until = stays[number + 1][0] if number + 1 < len(stays) else now
        begin = max(start, since) if number else start
        if until > begin:
            air += parts.rack.air(place, begin, until)
    return thin(air, MOST_AIR)


def _words(measured: Sequence[Measurement]) -> list[Word]:
    return [
        Word(one.spot, one.at, WORDS[one.word][0], WORDS[one.word][1])
        for one in measured
        if one.spot is not None and one.word in WORDS
    ]


def _temps(shop: Shop, tree: Tree, measured: Sequence[Measurement], by: Instruments) -> list[Point]:
    """Surface temperatures, in the shop's unit."""
    units, names = shop.units, {spot.code: spot.name for spot in tree.spots}
    error = units.temp(by.difference_k) - units.temp(0.0)
    return [
        (
            one.at,
            units.temp(one.value),
            error,
            f"{units.temp_words(one.value)} {at_words(names.get(one.spot or '', one.spot or ''))}",
        )
        for one in measured
        if one.kind == "surface_temp" and one.value is not None
    ]


def _weighings(shop: Shop, measured: Sequence[Measurement], since: Millis, by: Instruments) -> list[Strip]:
    """The weighings of the coats that are shown, as a strip of their own; none where there are none."""
    units = shop.units
    points: tuple[Point, ...] = tuple(
        (one.at, units.mass(one.value), units.mass(by.weighing_kg), units.mass_words(one.value))
        for one in measured
        if one.kind == "weighing" and one.value is not None and one.at >= since
    )
    if not points:
        return []
    spread = max(point[1] for point in points) - min(point[1] for point in points)
    step = next(step for step in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0, 1000.0) if spread <= 4 * step)
    return [Strip("Weighed", units.mass_sign, step, (), points)]
