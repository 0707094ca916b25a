"""What-if: only what cannot hurt is tried, and what is tried is the kernel's own answer."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.air import Air
from sensors.humid_air import vapour_pressure_pa
from server.drying import whatif
from server.drying.ensemble import ALONE
from server.drying.materials import MaterialError
from server.drying.spots import SpotError
from server.drying.warning_limits import DEFAULT_LIMITS
from server.drying.whatif import Change, Spread, WhatIf, fresh_shells, what_if
from tests.drying.shells import SHOP, after, dipped

AIR_CHANGES = ("fan", "drier", "warmer")


def changes(found: WhatIf) -> dict[str, Change]:
    return {change.code: change for change in found.changes}


def test_the_propane_figure_is_the_chemistry_s() -> None:
    """C₃H₈ burns to 4 H₂O: 4 · 18.015/44.096 (molar masses, book)."""
    assert pytest.approx(4 * 18.015 / 44.096, abs=0.05) == whatif.WATER_OF_PROPANE
    assert f"{whatif.WATER_OF_PROPANE:g} kg of water" in whatif.HEATER_NOTE
    assert "carbon monoxide" in whatif.HEATER_NOTE


def test_every_change_saves_time_on_a_backup_coat_at_a_joint() -> None:
    """Sharp angles dry last; moving, drier and warmer air are faster (common practice)."""
    found = what_if(fresh_shells("backup", 5, SHOP, 25.0, 2.0, ("face", "joint:30")), SHOP)
    by_code = changes(found)
    assert found.as_it_is.p50 is not None
    for code, change in by_code.items():
        assert not change.refused, code
        assert change.saved.p50 is not None
        assert change.saved.p50 > 600.0
        # On a coat that is just on, time saved is the one time less the other.
        assert change.fit_after.p50 is not None
        assert change.saved.p50 == pytest.approx(found.as_it_is.p50 - change.fit_after.p50, rel=1e-9)
    assert (by_code["joint:90"].saved.p50 or 0.0) > (by_code["joint:60"].saved.p50 or 0.0)
    print("\n" + "\n".join(f"{code}: {change.saved.p50 or 0:.0f} s" for code, change in by_code.items()))


def test_what_is_tried_is_what_the_coat_does_in_that_air() -> None:
    shells = (after(dipped("face", older=4), SHOP, 30.0),)
    found = changes(what_if(shells, SHOP))["drier"].fit_after.p50
    assert found is not None
    drier = replace(SHOP, rh_pct=SHOP.rh_pct - 10.0)
    minutes = 0.0
    shell = shells[0]
    while float(shell.remaining()[0]) > 0.05 or float(shell.cooling_k()[0]) >= 1.0:
        shell, minutes = shell.advance(drier, 60.0), minutes + 1.0
    assert found == pytest.approx(60.0 * minutes, abs=120.0)


@settings(max_examples=10, deadline=None)
@given(
    st.sampled_from(["face", "joint:45", "pocket:12x20"]),
    st.integers(0, 3),
    st.floats(12.0, 30.0),
    st.floats(35.0, 85.0),
    st.floats(0.05, 2.0),
)
def test_never_fan_heat_or_drier_air_on_a_prime_coat(
    code: str, older: int, temp: float, humidity: float, speed: float
) -> None:
    found = changes(what_if((dipped(code, "prime", older),), Air(temp, humidity, speed)))
    for air_change in AIR_CHANGES:
        assert "prime" in found[air_change].refused
        assert found[air_change].saved == Spread(None, None, None)
    assert bool(found["joint:60"].refused) is (code != "joint:45")


@pytest.mark.parametrize(
    ("older", "air", "code", "why"),
    [
        (2, SHOP, "warmer", "thin shell"),
        (5, Air(30.0, 50.0, 0.6), "warmer", "wax softens"),
        (5, Air(21.0, 25.0, 0.6), "drier", "Under 20 %RH"),
        (5, Air(21.0, 50.0, 1.6), "fan", "1.6 m/s already"),
    ],
)
def test_what_may_hurt_is_refused_in_words(older: int, air: Air, code: str, why: str) -> None:
    found = changes(what_if((dipped("face", older=older),), air))
    assert why in found[code].refused
    assert [
        one for one in found.values() if one.code != code and one.code in AIR_CHANGES and one.refused
    ] == []


def test_a_coat_that_is_fit_is_left_alone() -> None:
    found = what_if((after(dipped("face", older=4), SHOP, 600.0),), SHOP)
    assert found.as_it_is == Spread(0.0, 0.0, 0.0)
    assert all(changes(found)[code].refused == "It is fit already." for code in AIR_CHANGES)
    shell = after(dipped("face"), SHOP, 3000.0)
    through = what_if((shell,), SHOP, last_coat=True)
    assert through.as_it_is == Spread(0.0, 0.0, 0.0)
    assert all(changes(through)[code].refused == "It is dry through already." for code in AIR_CHANGES)


def test_a_stricter_dry_limit_takes_longer_and_a_coat_that_is_not_the_last_does_not_ask_it() -> None:
    shells = (after(dipped("face", older=4), SHOP, 30.0),)
    strict, usual, lax = (what_if(shells, SHOP, True, dry_limit=limit) for limit in (0.002, 0.005, 0.02))
    times = [found.as_it_is.p50 or 0.0 for found in (strict, usual, lax)]
    assert times[0] > times[1] > times[2] > 0.0
    assert usual == what_if(shells, SHOP, True)
    assert what_if(shells, SHOP, dry_limit=0.002) == what_if(shells, SHOP)


def test_warmer_air_holds_the_same_vapour() -> None:
    warmed: list[Air] = []
    for code, _, _, air in whatif.other_airs("backup", 6, SHOP, "", DEFAULT_LIMITS):
        if code == "warmer":
            warmed.append(air)
    [air] = warmed
    assert air.temp_c == pytest.approx(24.0)
    before, now = (float(vapour_pressure_pa(one.temp_c, one.rh_pct)) for one in (SHOP, air))
    assert now == pytest.approx(before, rel=1e-6)


def test_without_an_end_in_sight_what_ends_saves_without_measure() -> None:
    damp = Air(21.0, 95.0, 0.6)
    found = what_if((dipped(),), damp)
    by_code = changes(found)
    assert found.as_it_is.p50 is None
    assert by_code["drier"].fit_after.p50 is not None
    assert by_code["drier"].saved == Spread(None, None, None)
    assert by_code["fan"].fit_after.p50 is None
    assert by_code["fan"].saved == Spread(0.0, 0.0, 0.0)
    without_end = np.array([np.inf])
    assert whatif.compared("fan", "", without_end, without_end, ALONE).saved.p50 == 0.0


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="no coat"):
        what_if((), SHOP)
    with pytest.raises(MaterialError, match="layer 0"):
        fresh_shells("backup", 0, SHOP, 25.0, 2.0, ("face",))
    with pytest.raises(SpotError, match="joint angle 181"):
        fresh_shells("backup", 1, SHOP, 25.0, 2.0, ("joint:181",))
    with pytest.raises(ValueError, match="humidity nan"):
        fresh_shells("backup", 1, Air(21.0, float("nan"), 0.6), 25.0, 2.0, ("face",))


def test_air_may_be_blown_through_a_hollow_that_has_none() -> None:
    """A hollow takes weeks by diffusion alone: blow air in (common practice); not on a prime coat."""
    shell = after(dipped("cavity:60x0.2", older=4), SHOP, 60.0)
    found = changes(what_if((dipped("face", older=4), shell), SHOP))["blown"]
    assert found.fit_after.p50 is not None
    assert found.fit_after.p50 < 48 * 3600.0
    assert found.saved == Spread(None, None, None)  # there was no end in sight
    dried = float(whatif._blown(shell).advance(SHOP, 3600.0).water_kg[0])
    assert dried < float(shell.advance(SHOP, 3600.0).water_kg[0])
    assert "prime" in changes(what_if((dipped("cavity:60x0.2", "prime"),), SHOP))["blown"].refused
    assert "blown" not in changes(what_if((dipped("cavity:60x0.2,blown"),), SHOP))
    assert "blown" not in changes(what_if((dipped("face"),), SHOP))
