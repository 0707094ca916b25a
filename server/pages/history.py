"""What the rack has taught: how long coats really took, the slow spots, the forecasts, the castings."""

import math
from dataclasses import dataclass

from markupsafe import Markup

from sensors.clock import HOUR_MS
from server.coat_book import coat_of
from server.history_record import past_coats
from server.history_taught import QUARTERS, ForecastsHeld, Season, Took, forecasts_held, seasons
from server.pages.axes import ValueAxis
from server.pages.burnout import OUTCOME_WORDS
from server.pages.burnout_words import moment_words
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.svg import LEFT, RIGHT, level, svg, text
from server.pages.wording import at_words, duration_words, per_cent, span_words
from server.parts import Parts
from server.store import castings, trees
from server.store.castings import Casting, KeptCoat
from server.store.values import Tree


@dataclass(frozen=True)
class TookRow:
    """One coat of a recipe, and how long it took."""

    coat: str
    took: str
    more: str


@dataclass(frozen=True)
class SeasonPart:
    """A recipe in a place in a quarter of the year."""

    title: str
    rows: tuple[TookRow, ...]
    slowest: str


@dataclass(frozen=True)
class CastRow:
    """What came of a casting, with the way to its coats."""

    href: str
    label: str
    came: str
    coats: str


@dataclass(frozen=True)
class HistoryPage:
    """What the rack has taught."""

    frame: Frame
    seasons: tuple[SeasonPart, ...]
    plot: Markup
    forecasts: tuple[str, ...]
    outcomes: tuple[str, ...]
    castings: tuple[CastRow, ...]
    year: int


def history_page(parts: Parts) -> HistoryPage:
    """The page, from all that was written down."""
    shop, coats = shop_now(parts), past_coats(parts.engine)
    held = forecasts_held(coats)
    came = [one for one in castings.castings(parts.engine) if one.undone_at is None]
    ever = {tree.id: tree for tree in trees.ever(parts.engine)}
    kept: dict[int, list[KeptCoat]] = {}
    for one in castings.kept_coats(parts.engine):
        kept.setdefault(one.tree_id, []).append(one)
    counted = {key: sum(one.outcome == key for one in came) for key in OUTCOME_WORDS}
    return HistoryPage(
        frame=frame(parts, shop, "What the rack has taught", "shop"),
        seasons=tuple(_season(one) for one in seasons(coats, shop.zone)),
        plot=Markup(plot_svg(held)) if held.points else Markup(),
        forecasts=_forecast_words(held),
        outcomes=tuple(f"{OUTCOME_WORDS[key]}: {count}" for key, count in counted.items() if count),
        castings=tuple(
            _cast(shop, one, ever[one.tree_id], kept.get(one.tree_id, [])) for one in reversed(came)
        ),
        year=int(moment_words(shop.now, shop).split()[2]),
    )


def plot_svg(held: ForecastsHeld) -> str:
    """Forecast against what came, each coat a point; those outside their band are hollow squares.

    Both axes go by tens, for coats take from minutes to days. On the line the forecast was right.
    """
    hours = [max(value / HOUR_MS, 0.1) for one in held.points for value in (one.foretold, one.came)]
    low, high = math.floor(math.log10(min(hours))), math.ceil(math.log10(max(hours)))
    high = max(high, low + 1)
    up, across = ValueAxis(low, high, 250.0, 14.0), ValueAxis(low, high, LEFT, RIGHT)
    body = [f'<path class="limit" d="M{LEFT:g} 250L{RIGHT:g} 14"/>']
    for power in range(low, high + 1):
        body.append(level(up, power, f"{10.0**power:g}"))
        body.append(text(across.y(power), 270, f"{10.0**power:g} h", "middle"))
    for one in held.points:
        x = across.y(math.log10(max(one.foretold / HOUR_MS, 0.1)))
        y = up.y(math.log10(max(one.came / HOUR_MS, 0.1)))
        body.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="currentColor"/>'
            if one.within
            else f'<path d="M{x - 4:.1f} {y - 4:.1f}h8v8h-8z" stroke-width="1.8"/>'
        )
    body.append(text(LEFT, 290, "foretold at the dip; upwards: as it came", "start"))
    caption = f"{len(held.points)} coats: how long was foretold at the dip against how long it took"
    return svg(296, caption, body)


def _season(one: Season) -> SeasonPart:
    slowest = ", ".join(f"{name} ({count} coat{'s' * (count > 1)})" for name, count in one.slowest)
    return SeasonPart(
        f"{one.recipe}, {one.place}, {QUARTERS[one.quarter]}",
        tuple(_took(row) for row in one.coats),
        f"Last to come fit: {slowest}." if slowest else "",
    )


def _took(row: Took) -> TookRow:
    unfit = f"{row.unfit} dipped over before it was fit" if row.unfit else ""
    if not row.count:
        return TookRow(f"{row.number} {row.kind}", "not known", unfit)
    span = span_words(row.quickest, row.longest)
    known = f"of {row.count}" + ("" if span.startswith("about") else f", {span}")
    more = f"{known}; {unfit}" if unfit else known
    return TookRow(f"{row.number} {row.kind}", duration_words(row.middle), more)


def _forecast_words(held: ForecastsHeld) -> tuple[str, ...]:
    within, off = held.share_within, held.median_off
    if within is None or off is None:
        said = ["No forecast has been made at a dip yet that could be held against what came."]
    else:
        count = len(held.points)
        said = [
            f"{count} forecast{'s' * (count > 1)} made at the dip: {per_cent(within)} came within the "
            "band that was told; of honest ones 80 % do.",
            f"The middle one was off by {per_cent(off)}. What came is as judged, by the air as it came.",
        ]
    if held.no_end:
        said.append(f"For {held.no_end} no end was foretold.")
    if held.unfit:
        said.append(f"{held.unfit} cannot be held against it: the next coat came first.")
    return tuple(said)


def _cast(shop: Shop, one: Casting, tree: Tree, kept: list[KeptCoat]) -> CastRow:
    name = next((spot.name for spot in tree.spots if spot.code == one.spot), "")
    words = next((words for key, words in OUTCOME_WORDS.items() if key == one.outcome), one.outcome)
    told = f"{words}{f' {at_words(name)}' if name else ''}, {moment_words(one.said_at, shop)}"
    for more in (one.where, one.note):
        told += f" · {more}" if more else ""
    damp = [
        (coat.damp_at_next, coat.number, coat.slowest_name)
        for coat in map(coat_of, kept)
        if coat.damp_at_next is not None and coat.fit_at.p90 is None
    ]
    coats = f"{len(kept)} coats written down, each fit before the next"
    if damp:
        worst, number, where = max(damp, key=lambda found: found[0])
        at = f" {at_words(where)}" if where else ""
        coats = f"{len(damp)} coats dipped over damp; most on coat {number}, {per_cent(worst)} left{at}"
    return CastRow(f"/trees/{tree.id}/burnout-check", tree.label, told, coats if kept else "no coats known")
