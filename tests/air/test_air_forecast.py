"""The forecast of the air: against plain rules, on a record with holes, and with what the caster says."""

import numpy as np
import pytest

from sensors.air_forecast import AirWord, AirWordError, forecast, said
from sensors.clock import HOUR_MS
from sensors.shop_air import Room
from sensors.simulated import CELLAR
from tests.benchmarks.bench_forecast import back_test

HOURS = np.arange(15 * 24)
DAILY = 18.0 + 3.0 * np.sin(HOURS * np.pi / 12)


EVERY_H = 29


@pytest.mark.parametrize("room", [Room(), CELLAR], ids=["heated", "cellar"])
def test_it_beats_both_plain_rules_over_a_year(room: Room) -> None:
    # Typical year of Greensboro (TMY3, in pvlib's wheel) through the heated room and the cellar of the demo.
    table = back_test("Greensboro", room, every_h=EVERY_H)
    for rows in table.values():
        assert [row.lead_h for row in rows] == [1, 6, 24]
        for row in rows:
            assert row.beats_both, row
            assert row.within > 0.7, row


def test_the_error_grows_with_the_lead() -> None:
    noise = np.random.default_rng(3).standard_normal(HOURS.size).cumsum() * 0.2
    ahead = forecast(0, DAILY + noise, 50.0 + 3.0 * noise)
    assert ahead is not None
    assert (np.diff(ahead.temp_off) >= 0.0).all()
    assert ahead.temp_off[0] < 0.5 * ahead.temp_off[60]


def test_a_hole_in_the_record_is_left_out_and_a_missing_now_gives_nothing() -> None:
    holed = DAILY.copy()
    holed[100:130] = np.nan
    ahead = forecast(0, holed, np.full(HOURS.size, 50.0))
    assert ahead is not None
    assert np.abs(ahead.temp_c[:24] - DAILY[:24]).max() < 0.3
    holed[-1] = np.nan
    assert forecast(0, holed, np.full(HOURS.size, 50.0)) is None
    assert forecast(0, np.empty(0), np.empty(0)) is None


def test_after_its_last_hour_the_last_day_repeats() -> None:
    ahead = forecast(0, DAILY, np.full(HOURS.size, 50.0), hours=48)
    assert ahead is not None
    assert ahead.at(50 * HOUR_MS) == ahead.at(26 * HOUR_MS)
    assert ahead.at(-HOUR_MS) == ahead.at(0)


def test_a_damp_word_raises_the_humidity_while_it_holds_and_widens_it() -> None:
    ahead = forecast(0, DAILY, np.full(HOURS.size, 50.0))
    assert ahead is not None
    damp = said(ahead, [AirWord("damp", 80.0, 2 * HOUR_MS, 4 * HOUR_MS)])
    assert list(np.flatnonzero(damp.rh_pct != ahead.rh_pct)) == [2, 3]
    assert damp.rh_pct[2] == 80.0
    assert damp.rh_off[2] > ahead.rh_off[2]
    with pytest.raises(AirWordError, match="ends at 5, before its start 7"):
        AirWord("dry", 40.0, 7, 5)
