"""Calibration through the service: the API, the guided jar on the page, and what it does to the air."""

import math
import re
from collections.abc import Iterator

import pytest

from sensors.calibration import Corrections
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis, SetClock
from sensors.reading import Reading
from server.air_records import AirRecords
from server.live import LiveRack
from server.store import calibrations as store
from server.store import readings as reading_store
from server.store import saved
from server.store import shop as shop_store
from server.store.engine import Engine
from tests.service.fake_shop import NOON, Browser, FakeShop, problem
from tests.service.test_pages import Reader

API = "/api/nodes/n1/calibrations"
PAGE = "/air/nodes/cellar/n1/calibrate"


def tell(engine: Engine, values: Iterator[tuple[Millis, float, float]], node: str = "n1") -> list[Reading]:
    """Readings of the cellar: (time, temperature, humidity)."""
    said = [
        Reading("cellar", node, name, unit, value, time)
        for time, temp, humidity in values
        for name, unit, value in (("temperature", "Cel", temp), ("humidity", "%RH", humidity))
    ]
    reading_store.keep(engine, said, (), (), max(one.time for one in said))
    return said


def steady(start: Millis, end: Millis, humidity: float = 55.0) -> Iterator[tuple[Millis, float, float]]:
    return ((time, 20.0, humidity) for time in range(start, end, 5 * MINUTE_MS))


def in_jar(start: Millis, hours: float, end_pct: float) -> Iterator[tuple[Millis, float, float]]:
    for time in range(start, start + round(hours * HOUR_MS) + 1, 5 * MINUTE_MS):
        yield time, 20.0, end_pct + (55.0 - end_pct) * math.exp(-(time - start) / HOUR_MS)


@pytest.fixture
def cellar(shop: FakeShop) -> FakeShop:
    tell(shop.engine, steady(NOON - 3 * HOUR_MS, NOON))
    return shop


def test_a_calibration_over_the_api(cellar: FakeShop, web: Browser) -> None:
    body = {
        "quantity": "humidity",
        "points": [{"salt": "NaCl", "temp_c": 20.0, "said": 78.5}, {"right": 52.0, "error": 0.7}],
        "from": "2026-03-02T08:00:00Z",
        "note": "after the filter was changed",
    }
    added = web.post(API, json=body)
    assert added.status_code == 201
    kept = added.json()
    assert kept["points"][1]["said"] == pytest.approx(55.0)  # what it told itself
    assert kept["points"][0]["right"] == pytest.approx(75.48, abs=0.02)
    assert kept["slope"] * 55.0 + kept["shift"] == pytest.approx(52.0)
    assert (kept["kind"], kept["residual"], kept["undone"]) == ("reference", None, None)
    assert kept["since"] == "2026-03-02T08:00:00Z"
    assert (kept["holds_from"], kept["holds_to"]) == pytest.approx((45.0, 88.5))
    assert web.get(API).json() == [kept]
    assert web.ask("DELETE", f"{API}/1").status_code == 204
    problem(web.ask("DELETE", f"{API}/1"), 404)
    assert web.get(API).json()[0]["undone"] is not None
    assert store.corrections(cellar.engine, "cellar") == []
    assert cellar.rack.calibrated_places == ["cellar", "cellar"]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ({"quantity": "humidity", "points": [{"right": 30.0}]}, "would be moved by -25.0 %RH"),
        ({"quantity": "humidity", "points": [{"salt": "NaCl", "said": 75.0}]}, "needs the temperature"),
        (
            {"quantity": "humidity", "points": [{"salt": "NaCl", "said": 75.0, "temp_c": 50.0}]},
            "at 50.0 °C: its humidity is known here from 0 to 40 °C",
        ),
        (
            {"quantity": "temperature", "points": [{"salt": "NaCl", "said": 20.0, "temp_c": 20}]},
            "a salt tells humidity, not temperature",
        ),
        ({"quantity": "humidity", "points": [{}]}, "what the reference said"),
        (
            {"quantity": "humidity", "points": [{"right": 52.0, "at": "2026-03-02T12:10:00Z"}]},
            "10 min in the future",
        ),
        (
            {"quantity": "humidity", "points": [{"right": 52.0, "at": "2026-03-01T12:00:00Z"}]},
            "said no humidity in the 10 min before",
        ),
        (
            {"quantity": "humidity", "points": [{"right": 52.0}], "from": "2026-03-02T12:10:00Z"},
            "would begin 10 min in the future",
        ),
        ({"quantity": "humidity", "points": []}, "points"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_kept(
    cellar: FakeShop, web: Browser, body: dict[str, object], words: str
) -> None:
    assert words in problem(web.post(API, json=body), 422)["detail"]
    assert web.get(API).json() == []
    assert cellar.rack.calibrated_places == []


def test_a_node_is_asked_for_by_its_place_where_it_is_at_two(cellar: FakeShop, web: Browser) -> None:
    problem(web.get("/api/nodes/n9/calibrations"), 404)
    said = Reading("drying-room", "n1", "humidity", "%RH", 50.0, NOON)
    reading_store.keep(cellar.engine, [said], (), (), NOON)
    assert "say which place" in problem(web.get(API), 404)["detail"]
    assert web.get(f"{API}?place=drying-room").json() == []


def test_two_jars_on_the_page_make_a_line(cellar: FakeShop, web: Browser) -> None:
    assert "Not calibrated yet" in web.get(PAGE).text
    for salt, said_pct in (("NaCl", 78.0), ("MgCl2", 36.0)):
        begun = cellar.clock.now()
        assert web.post(f"{PAGE}/jar", data={"salt": salt}).status_code == 303
        again = web.post(f"{PAGE}/jar", data={"salt": salt})
        assert (again.status_code, f"in the jar of {salt} already" in again.text) == (422, True)
        tell(cellar.engine, in_jar(begun + MINUTE_MS, 9.0, said_pct))
        cellar.clock.advance(2 * HOUR_MS)
        early = web.post(f"{PAGE}/jar/end", data={"read": "yes"})
        assert (early.status_code, "has not settled: a jar is left closed" in early.text) == (422, True)
        cellar.clock.advance(7 * HOUR_MS)
        assert "Settled." in web.get(PAGE).text
        assert web.post(f"{PAGE}/jar/end", data={"read": "yes"}).status_code == 303
        cellar.clock.advance(HOUR_MS)
    assert [jar.state for jar in store.jars(cellar.engine, "cellar")] == ["read", "read"]
    spans = store.jar_spans(cellar.engine, "cellar")
    assert spans[0] == ("n1", NOON, NOON + 9 * HOUR_MS + store.AIRING_MS)
    assert web.post(f"{PAGE}/by-jars", data={"jar": ["1", "2"], "since": "7"}).status_code == 303
    [line] = store.corrections(cellar.engine, "cellar")
    correct = Corrections([line])
    for said_pct, right in ((78.0, 75.48), (36.0, 33.07)):  # Greenspan's values at 20 °C
        reading = Reading("cellar", "n1", "humidity", "%RH", said_pct, cellar.clock.now())
        assert correct.apply(reading).value == pytest.approx(right, abs=0.1)
    page = web.get(PAGE).text
    assert "too few points for a residual" in page
    assert "holds where it says 26 to 88 %RH" in page
    assert web.post(f"{PAGE}/1/undo").status_code == 303
    assert "taken back 3 March 2026" in web.get(PAGE).text


def test_a_jar_given_up_leaves_no_point(cellar: FakeShop, web: Browser) -> None:
    web.post(f"{PAGE}/jar", data={"salt": "LiCl"})
    assert web.post(f"{PAGE}/jar/end", data={"read": "no"}).status_code == 303
    problem_page = web.post(f"{PAGE}/jar/end", data={"read": "no"})
    assert problem_page.status_code == 404
    refused = web.post(f"{PAGE}/by-jars", data={"jar": "1"})
    assert "is none that was read" in refused.text
    assert "needs one point at least" in web.post(f"{PAGE}/by-jars", data={}).text


def test_a_reference_on_the_page(cellar: FakeShop, web: Browser) -> None:
    wrong = web.post(f"{PAGE}/by-reference", data={"quantity": "temperature", "right": "warm"})
    assert (wrong.status_code, "&#39;warm&#39; is not a figure" in wrong.text) == (422, True)
    given = {"quantity": "temperature", "right": "20,6", "since": "all"}
    assert web.post(f"{PAGE}/by-reference", data=given).status_code == 303
    [line] = store.corrections(cellar.engine, "cellar")
    assert (line.quantity, line.from_ms, line.slope) == ("temperature", 0, 1.0)
    assert line.shift == pytest.approx(0.6)
    assert "Temperature +0.6 K" in web.get(PAGE).text


def test_the_air_is_what_the_calibrated_node_says_out_of_its_jar(engine: Engine, cellar: FakeShop) -> None:
    tell(engine, steady(NOON - 3 * HOUR_MS, NOON + 6 * HOUR_MS, 61.0), "n2")
    tell(engine, steady(NOON, NOON + 6 * HOUR_MS))
    now = NOON + 6 * HOUR_MS
    records = AirRecords(engine)
    records.load(NOON - DAY_MS, now, now)

    def humidity(time: Millis) -> float:
        air = records.of("cellar").mean(time, time + 10 * MINUTE_MS)
        assert air is not None
        return air.rh_pct

    assert humidity(NOON + HOUR_MS) == pytest.approx(58.0, abs=0.05)
    # n1 is in a jar for two hours: n2 alone tells the air until half an hour after.
    store.begin_jar(engine, "cellar", "n1", "NaCl", NOON + HOUR_MS)
    store.end_jar(engine, "cellar", "n1", NOON + 3 * HOUR_MS)
    records.calibrated("cellar", now, now)
    for minutes, expected in ((30, 58.0), (90, 61.0), (190, 61.0), (215, 58.0)):
        assert humidity(NOON + minutes * MINUTE_MS) == pytest.approx(expected, abs=0.05), minutes


def test_a_calibration_and_its_undo_change_the_air_and_no_reading(engine: Engine, cellar: FakeShop) -> None:
    before = reading_store.node_readings(engine, "n1", 0, NOON + DAY_MS)
    rack = LiveRack(engine, SetClock(NOON))
    rack.open()
    cellar.parts.rack.__dict__["calibrated"] = rack.calibrated
    try:
        with Browser(cellar) as web:
            start, end = NOON - 2 * HOUR_MS, NOON - HOUR_MS
            body = {"quantity": "humidity", "points": [{"right": 50.0}], "from": "2026-03-02T10:30:00Z"}
            plain = [point.rh_pct for point in rack.air("cellar", start, end)]
            assert web.post(API, json=body).status_code == 201
            corrected = [point.rh_pct for point in rack.air("cellar", start, end)]
            assert plain == pytest.approx([55.0] * 6, abs=0.01)
            assert corrected[:2] + corrected[4:] == pytest.approx([55.0] * 2 + [50.0] * 2, abs=0.01)
            assert web.ask("DELETE", f"{API}/1").status_code == 204
            assert [point.rh_pct for point in rack.air("cellar", start, end)] == plain
    finally:
        rack.close()
    assert reading_store.node_readings(engine, "n1", 0, NOON + DAY_MS) == before


def test_saved_states_from_then_on_are_forgotten(engine: Engine, cellar: FakeShop, web: Browser) -> None:
    tree = cellar.hang("Heron", "A1", 2, place="cellar")
    for at in (NOON - 2 * HOUR_MS, NOON - HOUR_MS):
        saved.save_state(engine, tree.id, at, "key", b"state")
    body = {"quantity": "humidity", "points": [{"right": 50.0}], "from": "2026-03-02T10:30:00Z"}
    assert web.post(API, json=body).status_code == 201
    assert [as_of for as_of, _, _ in saved.saved_states(engine, tree.id)] == [NOON - 2 * HOUR_MS]


def test_the_air_page_shows_what_was_corrected_and_what_is_in_a_jar(cellar: FakeShop, web: Browser) -> None:
    plain = web.get("/air").text
    assert "humidity not calibrated yet" in plain
    assert f'href="{PAGE}"' in plain
    assert "<span>55 %RH</span>" in plain
    body = {"quantity": "humidity", "points": [{"right": 48.0}], "from": "2026-03-01T12:00:00Z"}
    assert web.post(API, json=body).status_code == 201
    corrected = web.get("/air").text
    assert "<span>48 %RH</span>" in corrected
    assert "humidity calibrated 2 March 2026" in corrected
    cellar.clock.advance(366 * DAY_MS)
    assert "due again: once a year is common practice" in web.get("/air").text
    cellar.clock.time = NOON
    web.post(f"{PAGE}/jar", data={"salt": "NaCl"})
    tell(cellar.engine, in_jar(NOON, 2.0, 75.0))
    cellar.clock.advance(2 * HOUR_MS)
    jarred = web.get("/air").text
    assert "n1 left out" in jarred
    # What it says of the jar is not the air's: the last that is known is from before.
    assert "<span>48 %RH</span>" in jarred


def test_the_page_speaks_and_takes_the_shops_unit(cellar: FakeShop, web: Browser) -> None:
    shop_store.set_setting(cellar.engine, "temperature_unit", "F")
    web.post(f"{PAGE}/jar", data={"salt": "NaCl"})
    tell(cellar.engine, in_jar(NOON + MINUTE_MS, 9.0, 78.0))
    cellar.clock.advance(9 * HOUR_MS)
    pages = [Reader(web.get(PAGE).text)]
    assert "78.0 %RH at 68.0 °F" in pages[0].text
    assert "temperature stays within 1.8 °F" in pages[0].text
    assert "Temperature there, °F" in pages[0].text
    web.post(f"{PAGE}/jar/end", data={"read": "yes"})
    pages.append(Reader(web.get(PAGE).text))
    assert " 68.0 °F: said 78.0 %RH" in pages[1].text
    assert "what it holds at 68 °F" in pages[1].text
    for typed, words in (
        ({"right": "71.6", "said": "212"}, "the node's temperature 212 °F is outside -40 to 185 °F"),
        ({"right": "86", "said": "68"}, "temperature 68.0 °F would be moved by +18.0 °F, more than 9 °F"),
        ({"right": "71.6", "said": "70", "error": "40"}, "is outside 0.018 °F to 18 °F"),
    ):
        answer = web.post(f"{PAGE}/by-reference", data={"quantity": "temperature"} | typed)
        assert (answer.status_code, words in Reader(answer.text).text) == (422, True), Reader(
            answer.text
        ).text
    given = {"quantity": "temperature", "right": "69,8", "said": "68", "error": "0.9", "since": "all"}
    assert web.post(f"{PAGE}/by-reference", data=given).status_code == 303
    [kept] = store.calibrations(cellar.engine, "cellar", "n1")
    assert kept.slope == 1.0
    assert kept.shift == pytest.approx(1.0)
    assert kept.points[0].error == pytest.approx(0.5)
    given |= {"other_right": "104", "other_said": "104.9"}
    assert web.post(f"{PAGE}/by-reference", data=given).status_code == 303
    pages.append(Reader(web.get(PAGE).text))
    line = re.search(r"Temperature × ([\d.]+) \+([\d.]+) °F", pages[2].text)
    assert line, pages[2].text
    slope, shift = map(float, line.groups())
    assert slope * 68.0 + shift == pytest.approx(69.8, abs=0.1)  # the line as it is read: °F to °F
    assert slope * 104.9 + shift == pytest.approx(104.0, abs=0.1)
    assert "Temperature +1.8 °F" in pages[2].text
    assert "said 68.0, right 69.8 ± 0.9 °F" in pages[2].text
    assert [page.text for page in pages if re.search(r"\d (°C|K)\b|, °C", page.text)] == []
