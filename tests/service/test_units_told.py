"""Notices in the shop's units: kept in SI, said in what the shop reads, on phones, channels and the page."""

import re
from dataclasses import replace

import pytest

from scheduler.forecast import Notice, SwingAhead
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS
from server.drying.warnings import Swing, swing_words
from server.phone.outbox import Outbox
from server.store import shop as shop_store
from server.troubles import troubles
from server.verdicts import AirPoint, NodeFault
from tests.planning.outlooks import HERON, NOW, due
from tests.service.fake_shop import NOON, Browser, FakeShop
from tests.service.postman import Postman, WallClock, add_phone, run, tell
from tests.service.test_pages import Reader

SI_FIGURES = re.compile(r"\d (°C|K|mm|kg)\b")


def notices_with_figures(shop: FakeShop) -> list[Notice]:
    """One of each kind whose words bear figures, made as the service makes them."""
    shop.hang("Heron", "A1", coats=1, state="drying", remaining=0.5)
    shop.rack.airs["drying-room"] = tuple(AirPoint(NOON - m * MINUTE_MS, 9.0, 50.0) for m in (30, 20, 10))
    said = "has said exactly 19 °C and 47.3 %RH for 6 h while the air moved: start it again"
    shop.rack.faults = (NodeFault("cellar", "north", "stuck", NOON - HOUR_MS, None, said, True),)
    swing = swing_words(Swing(0.0, 6.2)) or ""
    pocket = replace(HERON, tree_id=2, label="Snipe", state="fit", slowest_spot="pocket:12x40")
    hollow = replace(HERON, tree_id=3, label="Avocet", state="fit", slowest_spot="cavity:60x0.2")
    night = replace(HERON, tree_id=4, label="Dunlin", swing_ahead=SwingAhead("2026-03-02", swing))
    reason = "The air, -15 °C, is outside -10 to 60 °C."
    unsure = replace(HERON, tree_id=5, label="Teal", state="unsure", reason=reason, unsure_since=NOW - DAY_MS)
    told = due([pocket, hollow, night, unsure], NOW)
    return [*told, *(one for one in troubles(shop.parts, NOON) if one.cause in ("air", "fault"))]


@pytest.mark.parametrize("units", ["SI", "other"])
def test_every_figure_of_a_notice_is_in_the_shops_units(shop: FakeShop, web: Browser, units: str) -> None:
    wanted = notices_with_figures(shop)
    assert {one.cause for one in wanted} == {"fit", "swing", "unsure", "air", "fault"}
    assert all(SI_FIGURES.search(one.body) for one in wanted)
    if units == "other":
        for name, unit in (("temperature_unit", "F"), ("length_unit", "in"), ("mass_unit", "lb")):
            shop_store.set_setting(shop.engine, name, unit)
    add_phone(shop.engine)
    postman = Postman()
    tell(shop.engine, wanted)
    run(Outbox(shop.engine, {"push": postman}, WallClock()))
    sent = {str(payload["title"]): str(payload["body"]) for _, payload, *_ in postman.sent}
    assert len(postman.sent) == len(wanted)
    page = Reader(web.get("/shop").text).text
    assert all(" ".join(body.split()) in page for body in sent.values())
    if units == "SI":
        assert sent == {one.title: one.body for one in wanted}
        return
    assert [body for body in sent.values() if SI_FIGURES.search(body)] == []
    said = " ".join(sent.values())
    for words in (
        "0.47 in wide and 1.6 in deep",
        "mouth 2.4 in wide",
        "warms by about 11.2 °F",
        "(limit 9 °F)",
        "The air, 5 °F, is outside 14 to 140 °F.",
        "has said exactly 66 °F and 47.3 %RH",
        "The air is at 48 °F; a prime coat wants",
    ):
        assert words in said
