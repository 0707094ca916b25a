"""What is to be watched on a tree on the live rack: the night before it comes, dry coats, closed hollows."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import time

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from server.drying.warning_limits import DEFAULT_LIMITS
from server.live import LiveRack
from server.shop_hours import CLOSES_SETTING
from server.shop_rules import LIMITS_SETTING, shop_rules
from server.store import shop as shop_store
from server.store import trees as tree_store
from server.store.engine import Engine
from server.store.values import TreeSpot
from server.tree_warnings import TreeWarnings, air_of_last_night
from server.verdicts import TreeVerdict
from tests.planning.outlooks import due
from tests.service.records import PLACE, START, record
from tests.service.test_live import Shop

CLOSING_H = 36.0
"""Six in the evening of the second day: the record starts at six in the morning (UTC)."""


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    for rack in shop.racks:
        rack.close()


def nightly(hours: float, night_c: float = 12.0) -> list[Reading]:
    """Air of 20 °C by day; from six in the evening it falls, and at five the heater comes on."""
    said = []
    for minute in range(0, round(hours * 60), 10):
        hour = (6.0 + minute / 60.0) % 24.0
        temp = 20.0 if 7.0 <= hour < 18.0 else night_c if hour < 5.0 else 20.0 if hour < 7.0 else 0.0
        if hour >= 18.0:
            temp = 20.0 + (night_c - 20.0) * (hour - 18.0) / 6.0
        at = START + minute * MINUTE_MS
        said.append(Reading(PLACE, "n1", "temperature", "Cel", temp, at))
        said.append(Reading(PLACE, "n1", "humidity", "%RH", 50.0, at))
    return said


def opened(shop: Shop, hours: float) -> LiveRack:
    shop.at(hours)
    return shop.rack()


def verdict(rack: LiveRack, shop: Shop) -> TreeVerdict:
    found = rack.tree(shop.tree.id)
    assert found is not None
    return found


def test_a_night_s_swing_is_foreseen_before_the_shop_closes(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(nightly(CLOSING_H + 2.0))
    noon = verdict(opened(shop, CLOSING_H - 6.0), shop)
    assert noon.outlook.swing_ahead is None
    # The first night is seen, not foreseen: the wax grew when the heater came on.
    assert any("The wax warmed by" in words for words in noon.coats[0].warnings)

    rack = opened(shop, CLOSING_H - 1.0)
    before = verdict(rack, shop)
    assert before.outlook.swing_ahead is not None
    assert before.outlook.swing_ahead.date == "2026-03-03"
    assert before.outlook.swing_ahead.words in before.warnings
    print("", *before.warnings, sep="\n")
    assert "warms by about 8" in before.outlook.swing_ahead.words
    assert verdict(opened(shop, CLOSING_H - 1.0), shop) == before  # whatever was looked at before

    [notice] = [one for one in due(rack.outlooks(), shop.clock.now()) if one.cause == "swing"]
    assert notice.key == f"swing:{shop.tree.id}:2026-03-03"
    assert notice.title == "Heron: the wax will swing tonight"
    later = verdict(opened(shop, CLOSING_H + 1.0), shop)
    assert later.outlook.swing_ahead is None
    assert any("tonight" in words for words in later.warnings)


def test_an_even_night_and_a_shop_with_wider_limits_say_nothing(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(nightly(CLOSING_H, night_c=18.0))
    assert verdict(opened(shop, CLOSING_H - 0.5), shop).outlook.swing_ahead is None


def test_the_shop_s_own_limits_and_hours_hold(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(nightly(CLOSING_H))
    shop_store.set_setting(shop.engine, LIMITS_SETTING, {"warming_k": 20})
    wide = verdict(opened(shop, CLOSING_H - 0.5), shop)
    assert wide.outlook.swing_ahead is None
    assert not any("The wax warmed by" in words for words in wide.coats[0].warnings)
    shop_store.set_setting(shop.engine, LIMITS_SETTING, {})
    shop_store.set_setting(shop.engine, CLOSES_SETTING, "23:00")
    assert verdict(opened(shop, CLOSING_H - 0.5), shop).outlook.swing_ahead is None
    shop_store.set_setting(shop.engine, "time_zone", "Asia/Tokyo")  # nine hours on: it is half past two there
    shop_store.set_setting(shop.engine, CLOSES_SETTING, "04:00")
    swing = verdict(opened(shop, CLOSING_H - 0.5), shop).outlook.swing_ahead
    assert swing is not None
    assert swing.date == "2026-03-04"


def test_settings_that_cannot_be_leave_the_usual_ones(
    engine: Engine, caplog: pytest.LogCaptureFixture
) -> None:
    shop_store.set_setting(engine, LIMITS_SETTING, {"warming_k": "much"})
    shop_store.set_setting(engine, CLOSES_SETTING, "late")
    rules = shop_rules(engine)
    assert (rules.limits, rules.closes) == (DEFAULT_LIMITS, time(18, 0))
    assert "warming_k 'much' is not a number" in caplog.text
    assert "closing time 'late'" in caplog.text
    shop_store.set_setting(engine, LIMITS_SETTING, [3])
    assert shop_rules(engine).limits == DEFAULT_LIMITS


def test_a_coat_left_for_days_wants_pre_wetting_and_a_thick_shell_no_watch(shop: Shop) -> None:
    for number in range(4):
        shop.dip(10.0 * number)
    shop.say(nightly(110.0))
    rack = opened(shop, 106.0)  # four in the afternoon
    found = verdict(rack, shop)
    assert found.outlook.state == "fit"
    assert any(words.startswith("Dry for") and "pre-wet" in words for words in found.warnings)
    assert found.outlook.swing_ahead is None


def test_a_hollow_without_air_asks_for_some(shop: Shop) -> None:
    spots = (TreeSpot("face", "body"), TreeSpot("cavity:60x0.2", "belly"))
    tree_store.amend_tree(shop.engine, shop.tree.id, now=START, spots=spots)
    shop.dip(0.0)
    shop.say(nightly(3.0))
    found = verdict(opened(shop, 3.0), shop)
    assert found.outlook.slowest_spot == "cavity:60x0.2"
    assert any("blow air in" in words for words in found.warnings)
    blown = (spots[0], TreeSpot("cavity:60x0.2,blown", "belly"))
    tree_store.amend_tree(shop.engine, shop.tree.id, now=START, spots=blown)
    rack = opened(shop, 3.0)
    assert not any("blow air in" in words for words in verdict(rack, shop).warnings)
    assert replace(verdict(rack, shop).outlook, slowest_spot=None).state == "drying"


def test_air_of_last_night_is_that_of_the_same_hours() -> None:
    air = record(nightly(24.0))
    start: Millis = START + 30 * HOUR_MS
    stretches = air_of_last_night(air, start + 10 * MINUTE_MS, start + 2 * HOUR_MS)
    assert sum(seconds for seconds, _ in stretches) == 6600.0
    for _, one in stretches:
        assert one is not None
        assert one.temp_c == pytest.approx(20.0)
    assert air_of_last_night(air, START, START + HOUR_MS)[0][1] is None  # nothing is known of the day before


def test_what_is_not_on_the_rack_any_more_is_not_watched(shop: Shop) -> None:
    warnings = TreeWarnings()
    shop.dip(0.0)
    rack = opened(shop, 1.0)
    judge = rack._followed[shop.tree.id].judge
    warnings.foresee(shop.tree.id, judge, shop.clock.now(), shop_rules(shop.engine))
    found = verdict(rack, shop)
    assert warnings.add(found, judge, shop.clock.now(), shop_rules(shop.engine)).outlook == found.outlook
