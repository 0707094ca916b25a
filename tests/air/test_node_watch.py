"""Silence, clocks and batteries, by traces made for them."""

import pytest

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS
from sensors.fault_words import Beside, fault_words
from sensors.faults import Fault, Kind
from sensors.node_watch import battery_words, clock_behind, silent_since


@pytest.mark.parametrize(
    ("spacing", "silence", "silent"),
    [(MINUTE_MS, 14, False), (MINUTE_MS, 16, True), (10 * MINUTE_MS, 39, False), (10 * MINUTE_MS, 41, True)],
)
def test_a_node_is_silent_after_a_quarter_of_an_hour_or_four_of_its_own_spacings(
    spacing: int, silence: int, silent: bool
) -> None:
    times = [step * spacing for step in range(8)]
    found = silent_since([(time, time) for time in times], times[-1] + silence * MINUTE_MS)
    assert found == (times[-1] if silent else None)


def test_a_wrong_clock_makes_nobody_silent() -> None:
    said = [(step * MINUTE_MS, step * MINUTE_MS + HOUR_MS) for step in range(8)]
    assert silent_since(said, said[-1][1] + MINUTE_MS) is None
    assert silent_since(said, said[-1][1] + HOUR_MS) == said[-1][1]


def test_words_that_were_kept_while_the_network_was_away_are_no_clock_that_is_off() -> None:
    # 30 minutes' words, a minute apart, all sent within seconds once the network was back.
    kept = [(step * MINUTE_MS, 30 * MINUTE_MS + step * 200) for step in range(30)]
    assert clock_behind(kept) is None


def test_a_clock_that_is_a_summer_hour_off_is_told() -> None:
    said = [(step * MINUTE_MS, step * MINUTE_MS + HOUR_MS + 300 * step) for step in range(8)]
    assert clock_behind(said) == pytest.approx(HOUR_MS, abs=5_000)
    on_time = [(step * MINUTE_MS, step * MINUTE_MS + 400) for step in range(8)]
    assert clock_behind(on_time) is None
    assert clock_behind(said[:4]) is None


@pytest.mark.parametrize(
    ("values", "unit", "words"),
    [
        # A lithium-ion cell that loses 50 mV a day: 3.3 V is 4 days from 3.5 V.
        ([3.85, 3.80, 3.75, 3.70, 3.65, 3.60, 3.55, 3.50], "V", "falls: empty in about 4 days"),
        ([3.85, 3.849, 3.848, 3.847], "V", None),
        ([3.2, 3.1, 2.4, 2.19], "V", "change or charge it now"),
        ([90.0, 89.0, 88.0, 87.0], "%EL", None),
        ([40.0, 35.0, 30.0, 25.0], "%EL", "falls: empty in about 2 days"),
        ([14.0], "%EL", "change or charge it now"),
        ([5.0, 4.9, 4.8], "V", None),
        ([3.30, 3.31, 3.32], "V", None),
    ],
)
def test_a_low_battery_is_said_days_before(values: list[float], unit: str, words: str | None) -> None:
    found = battery_words([day * DAY_MS for day in range(len(values))], values, unit)
    assert (found is None) if words is None else (found is not None and words in found)


def test_the_set_voltage_counts() -> None:
    days = [day * DAY_MS for day in range(4)]
    assert battery_words(days, [5.0, 4.9, 4.8, 4.7], "V", empty_v=4.5) == (
        "its battery has 4.7 V left and falls: empty in about 2 days"
    )


KINDS: dict[Kind, str] = {
    "out of range": "says 75 °C and 50 %RH, which no shop has",
    "saturated": "has said 100 %RH for 3 h while the others say 60 %RH",
    "stuck": "has said exactly 75 °C and 50 %RH for 3 h",
    "jumping": "jumps there and back",
    "warmed": "is 55.0 K warmer than the others",
    "disagreeing": "says 75 °C and 50 %RH where the others say 20 °C and 60 %RH",
    "at odds": "says 75 °C and 50 %RH and n9 says 20 °C and 60 %RH",
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_reason_with_its_figures(kind: Kind) -> None:
    fault = Fault("n1", kind, 0, None, "n9")
    words = fault_words(fault, Beside(75.0, 50.0, 20.0, 60.0), 3 * HOUR_MS)
    assert KINDS[kind] in words
    assert fault_words(fault, Beside(None, None, None, None), MINUTE_MS)
