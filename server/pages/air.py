"""The air: what it is in each place, which nodes tell it, where the record has gaps, and what was kept
out."""

from markupsafe import Markup

from sensors.clock import DAY_MS
from sensors.reading import KeptOutError
from sensors.topics import check_slug
from server.gaps import gaps, known, settled
from server.pages.chart import air_svg
from server.pages.contexts import AirPage, KeptOutRow, NodeRow, PlaceForm, PlaceView
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words, duration_words
from server.parts import Parts
from server.store import places as place_store
from server.store import readings as reading_store
from server.store.engine import RefusedError
from server.store.values import KeptRejection, Node, Place

SHOWN_MS = DAY_MS
"""How much of the air record the page shows."""

KEPT_OUT_SHOWN = 20
PAYLOAD_SHOWN = 120


SPEEDS = (
    ("0.1", "still, 0.1 m/s"),
    ("0.3", "gentle, 0.3 m/s"),
    ("0.6", "a fan, 0.6 m/s"),
    ("1.5", "1.5 m/s"),
)
"""What a person may say of the air at a rack without an instrument [m/s]; the figures are assumed."""


def air_page(parts: Parts, place_id: str = "", place_name: str = "", fault: str = "") -> AirPage:
    """The air of every place. What was typed of a new place stays, with what was wrong with it."""
    shop = shop_now(parts)
    places = place_store.places(parts.engine)
    names = {place.id: place.name for place in places}
    count = reading_store.rejected_count(parts.engine)
    shown = reading_store.rejections(parts.engine, KEPT_OUT_SHOWN)
    nodes = reading_store.nodes(parts.engine)
    heard = tuple(sorted({node.place for node in nodes} - names.keys()))
    return AirPage(
        frame=frame(parts, shop, "Air", "air"),
        places=tuple(_place(parts, shop, place) for place in places),
        nodes=tuple(_node(shop, node, names) for node in nodes),
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
        return air_page(parts, place_id, name, str(fault))
    return None


def _place(parts: Parts, shop: Shop, place: Place) -> PlaceView:
    start = shop.now - SHOWN_MS
    air = parts.rack.air(place.id, start, shop.now)
    latest = next((point for point in reversed(air) if known(point)), None)
    holes = []
    for begin, end in gaps(air, shop.now, shop.now):
        since = clock_words(begin, shop.now, shop.zone)
        until = "now" if end >= shop.now else clock_words(end, shop.now, shop.zone)
        holes.append(f"not known from {since} to {until} ({duration_words(end - begin)})")
    return PlaceView(
        name=place.name,
        temp=f"{latest.temp_c:.1f} °C" if latest and latest.temp_c is not None else "",
        humidity=f"{latest.rh_pct:.0f} %RH" if latest and latest.rh_pct is not None else "",
        as_of=clock_words(latest.time, shop.now, shop.zone) if latest else "",
        speed=f"{place.speed_m_s:.2g} m/s",
        chart=Markup(air_svg(settled(air, shop.now), shop.now, shop.zone)),
        gaps=tuple(holes),
    )


def _node(shop: Shop, node: Node, names: dict[str, str]) -> NodeRow:
    heard = "never" if node.last_heard is None else clock_words(node.last_heard, shop.now, shop.zone)
    status = "says nothing of itself" if node.status == "unheard" else node.status
    return NodeRow(node.node, names.get(node.place, node.place), status, heard)


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
