"""The air: what it is in each place, which nodes tell it, where the record has gaps, and what was kept
out."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from sensors.calibration import Corrections, due
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from sensors.reading import KeptOutError, Reading
from sensors.topics import check_slug
from server.air_history import FORTNIGHT_MS, LeftOut, air_means, corrected
from server.gaps import gaps, known, settled
from server.node_health import node_health
from server.pages.air_chart import air_svg, derived
from server.pages.air_contexts import AirPage, KeptOutRow, NodeLine, PlaceForm, PlaceView
from server.pages.air_gaps import bridged_words
from server.pages.calibrating import address_of, date_words
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words, duration_words, sentence
from server.parts import Parts
from server.shop_height import pressure_of
from server.store import calibrations
from server.store import places as place_store
from server.store import readings as reading_store
from server.store.binned import first_time
from server.store.engine import RefusedError
from server.store.latest import latest_readings
from server.store.nodes import node_settings
from server.store.readings import AIR
from server.store.values import KeptRejection, Node, Place
from server.units import Units
from server.verdicts import NodeFault

Span = Literal["day", "fortnight"]


@dataclass(frozen=True)
class Shown:
    """How much of the air a chart shows, and in what steps [ms]."""

    words: str
    length: Millis
    step: Millis


SPANS: dict[Span, Shown] = {
    "day": Shown("Last day", DAY_MS, 10 * MINUTE_MS),
    "fortnight": Shown("Last fortnight", FORTNIGHT_MS, HOUR_MS),
}

KEPT_OUT_SHOWN = 20
PAYLOAD_SHOWN = 120


SPEEDS = (
    ("0.1", "still, 0.1 m/s"),
    ("0.3", "gentle, 0.3 m/s"),
    ("0.6", "a fan, 0.6 m/s"),
    ("1.5", "1.5 m/s"),
)
"""What a person may say of the air at a rack without an instrument [m/s]; the figures are assumed."""

SAID_WORDS = {"Cel": "°C", "%EL": "% battery", "V": "V battery"}
"""Units as a person reads them; the others are read as they are."""


def air_page(
    parts: Parts, span: Span = "day", place_id: str = "", place_name: str = "", fault: str = ""
) -> AirPage:
    """The air of every place. What was typed of a new place stays, with what was wrong with it."""
    shop = shop_now(parts)
    places = place_store.places(parts.engine)
    names = {place.id: place.name for place in places}
    count = reading_store.rejected_count(parts.engine)
    shown = reading_store.rejections(parts.engine, KEPT_OUT_SHOWN)
    nodes = reading_store.nodes(parts.engine)
    health, settings = node_health(parts), node_settings(parts.engine)
    heard = tuple(sorted({node.place for node in nodes} - names.keys()))
    said: dict[tuple[str, str], list[Reading]] = {}
    for reading in latest_readings(parts.engine):
        said.setdefault((reading.place, reading.node), []).append(reading)
    return AirPage(
        frame=frame(parts, shop, "Air", "air"),
        spans=tuple((f"/air?span={key}", one.words, key == span) for key, one in SPANS.items()),
        places=tuple(_place(parts, shop, place, SPANS[span], health) for place in places),
        nodes=tuple(
            _node(
                shop,
                node,
                names,
                said.get((node.place, node.node), []),
                words,
                health,
                "" if (own := settings.get((node.place, node.node))) is None else own.hook,
            )
            for node, words in zip(nodes, _calibrated(parts, shop, nodes), strict=True)
        ),
        kept_out=tuple(_kept_out(shop, one) for one in shown),
        kept_out_words=_count_words(count, len(shown)),
        place_form=PlaceForm(fault, heard, place_id or next(iter(heard), ""), place_name, SPEEDS),
    )


def name_place(parts: Parts, place_id: str, name: str, speed_m_s: float) -> AirPage | None:
    """Name a place of the shop; the page with what was wrong where it cannot be."""
    try:
        check_slug("place", place_id)
        place_store.add_place(parts.engine, Place(place_id, name, speed_m_s))
    except (KeptOutError, RefusedError) as fault:
        return air_page(parts, "day", place_id, name, str(fault))
    return None


def _place(parts: Parts, shop: Shop, place: Place, shown: Shown, health: Sequence[NodeFault]) -> PlaceView:
    end = shop.now - shop.now % shown.step + shown.step
    first = first_time(parts.engine, place.id, AIR)
    # What was before the first reading ever is no gap.
    start = max(end - shown.length, end if first is None else first - first % shown.step)
    bins = parts.air_history.bins(place.id, start, end, shown.step)
    lines = calibrations.corrections(parts.engine, place.id)
    if lines:
        bins = corrected(bins, place.id, Corrections(lines).apply)
    left_out = [
        LeftOut(node, begun, ended) for node, begun, ended in calibrations.jar_spans(parts.engine, place.id)
    ]
    left_out += [
        LeftOut(one.node, one.start, one.end)
        for one in health
        if one.place == place.id and one.left_out and one.kind != "silent"
    ]
    air = air_means(bins, start, end, shown.step, left_out)
    latest = next((point for point in reversed(air) if known(point)), None)
    pressure = pressure_of(parts.engine)
    temp = rh = dew = rate = ""
    if latest is not None and latest.temp_c is not None and latest.rh_pct is not None:
        temp, rh = shop.units.temp_words(latest.temp_c), f"{latest.rh_pct:.0f} %RH"
        [(_, dew_c)], [(_, rate_g_m2h)] = derived([latest], place.speed_m_s, pressure)
        dew = "" if dew_c is None else shop.units.temp_words(dew_c, 0)
        rate = "" if rate_g_m2h is None else f"{float(f'{rate_g_m2h:.2g}'):.0f} g/m²h"
    holes = []
    unknown = gaps(air, shop.now, shop.now)
    worked = bridged_words(parts, shop, place.id, unknown)
    for (begin, until), meanwhile in zip(unknown, worked, strict=True):
        since = clock_words(begin, shop.now, shop.zone)
        words = "now" if until >= shop.now else clock_words(until, shop.now, shop.zone)
        holes.append(f"not known from {since} to {words} ({duration_words(until - begin)}). {meanwhile}")
    return PlaceView(
        name=place.name,
        temp=temp,
        humidity=rh,
        dew=dew,
        rate=rate,
        as_of=clock_words(min(latest.time + shown.step, shop.now), shop.now, shop.zone) if latest else "",
        speed=f"{place.speed_m_s:.2g} m/s",
        chart=Markup(
            air_svg(
                settled(air, shop.now),
                place.speed_m_s,
                _spans(left_out, start, shop.now),
                shop.now,
                shop.zone,
                pressure,
                shop.units,
            )
        ),
        gaps=tuple(holes),
    )


def _node(
    shop: Shop,
    node: Node,
    names: dict[str, str],
    said: list[Reading],
    calibrated: str,
    health: Sequence[NodeFault],
    hook: str,
) -> NodeLine:
    heard = "never" if node.last_heard is None else clock_words(node.last_heard, shop.now, shop.zone)
    status = "says nothing of itself" if node.status == "unheard" else node.status
    figures = ", ".join(
        _figure(one, shop.units) for one in sorted(said, key=lambda one: one.name, reverse=True)
    )
    calibrate = address_of(node.place, node.node)
    faults = tuple(
        _fault(shop, one)
        for one in health
        if (one.place, one.node) == (node.place, node.node) and _shown(shop, one)
    )
    weighs = hook or any(one.name == "mass" for one in said)
    return NodeLine(
        node.node,
        names.get(node.place, node.place),
        status,
        heard,
        figures,
        faults,
        calibrate,
        calibrated,
        f"/air/nodes/{node.place}/{node.node}/hook" if weighs else "",
        hook,
    )


def _shown(shop: Shop, one: NodeFault) -> bool:
    """What holds, and what was over within the last day."""
    return one.end is None or one.end > shop.now - DAY_MS


def _fault(shop: Shop, one: NodeFault) -> str:
    since = clock_words(one.start, shop.now, shop.zone)
    what = one.reason if one.reason.startswith("its ") else f"it {one.reason}"
    if one.kind == "low battery":
        return sentence(what)
    if one.end is not None:
        until = clock_words(one.end, shop.now, shop.zone)
        return f"From {since} to {until} it was left out: {shop.units.said(what)}."
    return f"{'Left out since' if one.left_out else 'Since'} {since}: {shop.units.said(what)}."


def _calibrated(parts: Parts, shop: Shop, nodes: Sequence[Node]) -> list[str]:
    """For each node when its humidity was last calibrated, and whether that is due again."""
    made: dict[tuple[str, str], Millis] = {}
    for one in calibrations.calibrations(parts.engine):
        if one.undone_at is None and one.quantity == "humidity":
            key = (one.place, one.node)
            made[key] = max(one.said_ms, made.get(key, one.said_ms))
    words = []
    for node in nodes:
        when = made.get((node.place, node.node))
        if when is None:
            words.append("humidity not calibrated yet")
            continue
        again = due([(node.node, when)], [node.node], shop.now)
        date = f"humidity calibrated {date_words(when, shop)}"
        words.append(f"{date}, due again: once a year is common practice" if again else date)
    return words


def _spans(
    left_out: Sequence[LeftOut], start: Millis, now: Millis
) -> list[tuple[str, list[tuple[Millis, Millis]]]]:
    """By node, from when to when within [start, now) it did not count."""
    spans: dict[str, list[tuple[Millis, Millis]]] = {}
    for one in left_out:
        end = now if one.end is None else min(one.end, now)
        if end > start:
            spans.setdefault(one.node, []).append((max(one.start, start), end))
    return sorted(spans.items())


def _figure(reading: Reading, units: Units) -> str:
    if reading.unit == "kg":
        return f"{units.mass(reading.value):.3g} {units.mass_sign}"
    unit = SAID_WORDS.get(reading.unit, reading.unit)
    surface = " at the surface" if reading.name == "surface" else ""
    return f"{units.said(f'{reading.value:.3g} {unit}')}{surface}"


def _kept_out(shop: Shop, one: KeptRejection) -> KeptOutRow:
    text = one.payload.decode("utf-8", errors="replace")
    shown = text if len(text) <= PAYLOAD_SHOWN else f"{text[:PAYLOAD_SHOWN]}…"
    plain = "".join(sign if sign.isprintable() else "·" for sign in shown)
    return KeptOutRow(one.source, one.reason, clock_words(one.arrived, shop.now, shop.zone), plain)


def _count_words(count: int, shown: int) -> str:
    if not count:
        return "Nothing so far: every reading that came could be taken."
    things = "1 thing was" if count == 1 else f"{count} things were"
    latest = "" if shown >= count else f"; the latest {shown} are shown"
    return f"{things} kept out so far{latest}. The rest of what the nodes said was taken."
