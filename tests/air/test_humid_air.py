"""Moist air against psychrolib and printed values; each check names its source."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors import humid_air as ha
from tests.air.psychrometrics import psychrolib

# Source: computed with psychrolib 2.5 at 101325 Pa:
# T °C, RH %, W kg/kg, dew point °C, wet bulb °C, p_v Pa, vapour density kg/m³
STATES = [
    (10.0, 90.0, 0.006859, 8.437, 9.157, 1105.2, 0.008457),
    (20.7, 45.0, 0.006820, 8.354, 13.637, 1099.0, 0.008103),
    (25.0, 50.0, 0.009881, 13.864, 17.889, 1584.6, 0.011516),
    (40.0, 30.0, 0.013900, 19.125, 25.093, 2215.0, 0.015326),
]


@pytest.mark.parametrize("state", STATES)
def test_states_of_the_table(state: tuple[float, ...]) -> None:
    temp, rh, ratio, dew, bulb, vapour, density = state
    assert float(ha.humidity_ratio(temp, rh)) == pytest.approx(ratio, abs=6e-7)
    assert float(ha.dew_point_c(temp, rh)) == pytest.approx(dew, abs=2e-3)
    assert float(ha.wet_bulb_c(temp, rh)) == pytest.approx(bulb, abs=2e-3)
    assert float(ha.vapour_pressure_pa(temp, rh)) == pytest.approx(vapour, abs=0.06)
    assert float(ha.vapour_density_kg_m3(temp, rh)) == pytest.approx(density, abs=6e-7)


def test_the_standard_atmosphere_is_psychrolibs() -> None:
    # Source: psychrolib 2.5 (ASHRAE 2017, chapter 1, equation 3), an independent program.
    for altitude in (-400.0, 0.0, 500.0, 1500.0, 4000.0):
        assert ha.standard_pressure_pa(altitude) == pytest.approx(
            psychrolib.GetStandardAtmPressure(altitude), rel=1e-6
        )
    with pytest.raises(ValueError, match="altitude 12000 m is outside"):
        ha.standard_pressure_pa(12000.0)


def test_sweep_agrees_with_psychrolib() -> None:
    # Source: psychrolib 2.5, an independent program; its own tolerance is 0.001 K in dew point and wet bulb.
    rng = np.random.default_rng(20)
    temp = rng.uniform(-40.0, 90.0, 1500)
    rh = rng.uniform(0.5, 100.0, 1500)
    pressure = rng.uniform(80e3, 105e3, 1500)
    saturation = [psychrolib.GetSatVapPres(t) for t in temp]
    ratio = [psychrolib.GetHumRatioFromRelHum(*x) for x in zip(temp, rh / 100, pressure, strict=True)]
    dew = [psychrolib.GetTDewPointFromRelHum(*x) for x in zip(temp, rh / 100, strict=True)]
    bulb = [psychrolib.GetTWetBulbFromRelHum(*x) for x in zip(temp, rh / 100, pressure, strict=True)]
    density = [psychrolib.GetMoistAirDensity(*x) for x in zip(temp, ratio, pressure, strict=True)]
    np.testing.assert_allclose(ha.saturation_pressure_pa(temp), saturation, rtol=1e-12)
    np.testing.assert_allclose(ha.humidity_ratio(temp, rh, pressure), ratio, rtol=1e-11)
    np.testing.assert_allclose(ha.dew_point_c(temp, rh), dew, atol=2e-3)
    np.testing.assert_allclose(ha.wet_bulb_c(temp, rh, pressure), bulb, atol=2e-3)
    np.testing.assert_allclose(ha.air_density_kg_m3(temp, rh, pressure), density, rtol=1e-5)


def test_printed_values() -> None:
    # Source: book, Geankoplis example 9.6-3: latent heat 2433 kJ/kg at the wet bulb of 28.9 °C.
    assert float(ha.latent_heat_j_kg(28.9)) / 1e3 == pytest.approx(2433, abs=1.5)
    # Source: book, Geankoplis example 6.2-2: water vapour in air at 293 K, 1 atm, 0.250e-4 m²/s.
    assert float(ha.vapour_diffusivity_m2_s(19.85)) == pytest.approx(0.250e-4, rel=0.02)


temperatures = st.floats(-40.0, 90.0)
humidities = st.floats(0.0, 100.0)


@given(temperatures, humidities)
def test_vapour_and_humidity_are_inverse(temp: float, rh: float) -> None:
    back = float(ha.relative_humidity_pct(temp, ha.vapour_pressure_pa(temp, rh)))
    assert back == pytest.approx(rh, abs=1e-9)


@given(temperatures, humidities)
def test_dew_point_below_wet_bulb_below_temperature(temp: float, rh: float) -> None:
    dew, bulb = float(ha.dew_point_c(temp, rh)), float(ha.wet_bulb_c(temp, rh))
    assert dew <= bulb + 1e-6
    assert bulb <= temp + 1e-9


@given(temperatures, st.floats(0.5, 100.0))
def test_dew_point_inverts_the_saturation_curve(temp: float, rh: float) -> None:
    dew = float(ha.dew_point_c(temp, rh))
    if dew >= ha.LOWEST_TEMP_C:
        assert float(ha.saturation_pressure_pa(dew)) == pytest.approx(
            float(ha.vapour_pressure_pa(temp, rh)), rel=1e-9
        )


@given(temperatures, st.floats(0.01, 1.0))
def test_warmer_air_holds_more(temp: float, step: float) -> None:
    if temp + step <= 90.0:
        assert ha.saturation_pressure_pa(temp + step) > ha.saturation_pressure_pa(temp)


def test_saturated_air_is_its_own_wet_bulb_and_dew_point() -> None:
    temp = np.linspace(-39.0, 90.0, 200)
    np.testing.assert_allclose(ha.wet_bulb_c(temp, 100.0), temp, atol=1e-9)
    np.testing.assert_allclose(ha.dew_point_c(temp, 100.0), temp, atol=1e-9)


def test_no_vapour_no_dew_point() -> None:
    assert ha.dew_point_c(20.0, 0.0) == -np.inf
    # Source: psychrolib 2.5, which bounds the humidity ratio at 1e-7.
    expected = psychrolib.GetTWetBulbFromRelHum(20.0, 0.0, 101325.0)
    assert float(ha.wet_bulb_c(20.0, 0.0)) == pytest.approx(expected, abs=2e-3)


def test_arrays_broadcast_and_agree_with_floats() -> None:
    temp = np.array([[5.0], [20.0]])
    rh = np.array([30.0, 60.0, 90.0])
    bulb = ha.wet_bulb_c(temp, rh)
    assert bulb.shape == (2, 3)
    assert bulb[1, 2] == ha.wet_bulb_c(20.0, 90.0)


@pytest.mark.parametrize("temp", [-40.1, 90.1, float("nan"), float("inf")])
def test_temperature_outside_is_refused(temp: float) -> None:
    with pytest.raises(ValueError, match=rf"temperature {temp:g} °C is outside -40 to 90 °C"):
        ha.saturation_pressure_pa(np.array([20.0, temp]))


@pytest.mark.parametrize("rh", [-0.1, 100.1, float("nan")])
def test_humidity_outside_is_refused(rh: float) -> None:
    with pytest.raises(ValueError, match=rf"relative humidity {rh:g} % is outside 0 to 100 %"):
        ha.wet_bulb_c(20.0, rh)


def test_pressure_outside_is_refused() -> None:
    with pytest.raises(ValueError, match="air pressure 1013 Pa is outside"):
        ha.humidity_ratio(20.0, 50.0, 1013.0)
    with pytest.raises(ValueError, match="above the boiling point"):
        ha.humidity_ratio(89.0, 10.0, 61e3)
