"""Warnings: how the wax is followed, what is told of it and of the air, and the limits they go by."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.air import Air
from sensors.humid_air import wet_bulb_c
from server.drying.shell import SpotShell
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimitError, limit_names, limits_said
from server.drying.warnings import (
    CoatClimate,
    Swing,
    climate_after,
    climate_at_dip,
    coat_warnings,
    has_set,
    prewet_warning,
    swing_ahead,
    swing_words,
    wax_temp_c,
)
from tests.drying.shells import SHOP, after, dipped

DRY = Air(21.0, 25.0, 1.0)


def lived(
    shell: SpotShell, air: list[Air], number: int = 1, before: CoatClimate | None = None
) -> CoatClimate:
    """The climate of a coat that was just dipped at the air's temperature, through blocks of ten minutes."""
    climate = climate_at_dip(number, None, before)
    for one in air:
        shell = shell.advance(one, 600.0)
        wax = wax_temp_c((shell,))
        assert wax is not None
        climate = climate_after(climate, number, one, wax, has_set((shell,), one), drying=True)
    return climate


def warming(by_k: float, hours: float) -> list[tuple[float, Air | None]]:
    steps = np.linspace(0.0, by_k, round(hours * 2))
    return [(1800.0, replace(SHOP, temp_c=SHOP.temp_c + float(more))) for more in steps]


def test_a_prime_coat_in_dry_moving_air_cools_the_wax() -> None:
    """It goes towards the wet bulb and not under it (reference: the psychrometer's own law)."""
    climate = lived(dipped("face", "prime"), [DRY] * 12)
    assert climate.coldest_c is not None
    assert climate.dip_c == 21.0
    bound = float(wet_bulb_c(21.0, 25.0))
    # Convection alone settles 0.3-0.8 K under the psychrometer's wet bulb; radiation lifts it (computed).
    assert bound - 0.8 < climate.coldest_c < 21.0 - DEFAULT_LIMITS.cooling_k
    cooled, *air = coat_warnings(1, "prime", climate)
    print("", cooled, *air, sep="\n")
    assert cooled.startswith("The wax cooled by")
    assert len(air) == 1
    assert "down to 25 %RH (40 to 75 %RH)" in air[0]


def test_the_same_in_gentle_damp_air_says_nothing() -> None:
    climate = lived(dipped("face", "prime"), [Air(21.0, 65.0, 0.2)] * 30)
    assert coat_warnings(1, "prime", climate) == ()


def test_a_backup_coat_is_not_held_to_the_wax_s_cooling() -> None:
    cold = CoatClimate(dip_c=21.0, coldest_c=11.0)
    assert coat_warnings(4, "backup", cold) == ()
    assert len(coat_warnings(4, "prime", cold)) == 1


def test_wax_that_warms_inside_a_coat_that_has_set_is_told() -> None:
    cool, warm = Air(15.0, 50.0, 0.6), Air(23.0, 50.0, 0.6)
    climate = lived(dipped("face", "prime", air=cool), [cool] * 24 + [warm] * 12)
    assert climate.set_c is not None
    print(f"\ncoldest once set {climate.set_c:.1f} °C, grown by {climate.grown_k:.1f} K")
    # The room's own 8 K, and up to 1 K that the coat was still colder than the room when it set.
    assert 7.5 < climate.grown_k < 9.2
    assert any("The wax warmed by" in words for words in coat_warnings(2, "backup", climate))
    assert coat_warnings(4, "backup", replace(climate, rh_low_pct=None)) == ()  # thick enough by then


def test_warming_before_anything_has_set_is_no_strain() -> None:
    wet = dipped("face", "prime")
    climate = lived(wet, [Air(15.0, 95.0, 0.1), Air(25.0, 95.0, 0.1)])
    assert climate.set_c is None
    assert climate.grown_k == 0.0


def test_what_has_set_below_counts_on_under_the_next_coat() -> None:
    first = CoatClimate(set_c=14.0, grown_k=7.0)
    assert climate_at_dip(2, 20.0, first) == CoatClimate(dip_c=20.0, coldest_c=20.0, set_c=14.0)
    assert climate_at_dip(4, 20.0, first).set_c is None
    assert climate_after(climate_at_dip(2, 20.0, first), 2, SHOP, 20.5, False, True).grown_k == 6.5


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(5.0, 35.0), st.booleans(), st.booleans()), min_size=1, max_size=20),
    st.integers(1, 5),
)
def test_a_climate_only_widens(steps: list[tuple[float, bool, bool]], number: int) -> None:
    climate = climate_at_dip(number, 20.0, None)
    for wax, set_, drying in steps:
        grown = climate_after(climate, number, Air(wax, 50.0, 0.3), wax, set_, drying)
        assert grown.grown_k >= climate.grown_k >= 0.0
        assert grown.coldest_c is not None
        assert climate.coldest_c is not None
        assert grown.coldest_c <= climate.coldest_c
        assert climate.set_c is None or (grown.set_c is not None and grown.set_c <= climate.set_c)
        if number > 3:
            assert grown.grown_k == 0.0
        climate = grown


def test_a_warm_night_is_foreseen_in_a_shell_that_has_set() -> None:
    shell = after(dipped("face", "prime"), SHOP, 600.0)
    climate = CoatClimate(dip_c=21.0, coldest_c=16.0, set_c=16.0, grown_k=5.0)
    still = swing_ahead(shell, 1, "prime", climate, warming(0.0, 6.0), drying=False)
    assert still.grown_k < 0.5  # what it grew before is not to come any more
    assert swing_words(still) is None
    swing = swing_ahead(shell, 1, "prime", climate, warming(8.0, 6.0), drying=False)
    assert swing.grown_k == pytest.approx(8.0, abs=1.0)  # the centimetre of wax follows within half an hour
    assert "warms by about" in (swing_words(swing) or "")
    assert swing_ahead(shell, 4, "backup", climate, warming(8.0, 6.0), drying=False).grown_k == 0.0
    unknown: list[tuple[float, Air | None]] = [(3600.0, None)] * 3
    assert swing_ahead(shell, 1, "prime", climate, unknown, drying=False) == Swing(0.0, 0.0)


def test_a_cold_night_is_foreseen_under_a_wet_prime_coat() -> None:
    shell = dipped("face", "prime").advance(SHOP, 60.0)
    night: list[tuple[float, Air | None]] = [(1800.0, Air(14.0, 60.0, 0.3))] * 10
    swing = swing_ahead(shell, 1, "prime", CoatClimate(dip_c=21.0, coldest_c=20.0), night, drying=True)
    assert swing.cooled_k > 7.0
    assert "cools by about" in (swing_words(swing) or "")


def test_a_coat_left_for_long_wants_pre_wetting() -> None:
    assert prewet_warning(47.9) is None
    assert "pre-wet" in (prewet_warning(49.0) or "")
    assert prewet_warning(10.0, limits_said({"prewet_after_h": 8})) is not None


def test_limits_are_set_by_name() -> None:
    limits = limits_said({"cooling_k": 3, "backup.rh_high_pct": 80.5})
    assert (limits.cooling_k, limits.backup.rh_high_pct) == (3.0, 80.5)
    assert limits.prime == DEFAULT_LIMITS.prime
    assert limits_said(None) == DEFAULT_LIMITS
    assert {"warming_k", "prime.low_c", "backup.fastest_m_s"} <= set(limit_names())
    assert coat_warnings(1, "prime", CoatClimate(dip_c=20.0, coldest_c=16.0), limits) != ()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"cooling": 3}, "'cooling' is not one of"),
        ({"prime": 3}, "'prime' is not one of"),
        ({"cooling_k": "3"}, "cooling_k '3' is not a number"),
        ({"cooling_k": True}, "is not a number"),
        ({"cooling_k": float("nan")}, "is not a number"),
        ({"cooling_k": 400}, "cooling_k 400 is outside 0.5 to 30"),
        ({"prime.rh_low_pct": -1}, "prime.rh_low_pct -1 is outside 0 to 100"),
        ({"prime.low_c": 40}, "leave no air at all"),
    ],
)
def test_a_limit_that_cannot_be_is_refused_by_name(said: dict[str, object], words: str) -> None:
    with pytest.raises(WarningLimitError, match=words):
        limits_said(said)
