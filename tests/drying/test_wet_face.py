"""The rate at which a wet face would dry now: between its bounds, and the one the whole model begins with."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from sensors.air import Air
from sensors.humid_air import LOWEST_TEMP_C, latent_heat_j_kg, saturation_density_kg_m3, vapour_density_kg_m3
from server.drying.materials import coat
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.transfer import film, radiation_w_m2k
from server.drying.wet_face import COLDEST_BELOW_K, wet_face_g_m2h
from tests.air.psychrometrics import psychrolib

TEMPS = st.floats(-5, 55)
HUMIDITIES = st.floats(0, 99)
SPEEDS = st.floats(0, 15)


@settings(deadline=None)
@given(TEMPS, HUMIDITIES, SPEEDS)
def test_heat_in_is_latent_heat_out(temp: float, rh: float, speed: float) -> None:
    vapour = vapour_density_kg_m3(temp, rh)

    def leaving(face: float) -> float:
        wet = saturation_density_kg_m3(face)
        return float(film(temp, vapour, speed, 0.025, face, wet).mass_m_s * (wet - vapour))

    def gains(face: float) -> float:
        through = film(temp, vapour, speed, 0.025, face, saturation_density_kg_m3(face)).heat_w_m2k
        heat = (float(through) + radiation_w_m2k(temp)) * (temp - face)
        return heat - float(latent_heat_j_kg(face)) * leaving(face)

    found = float(wet_face_g_m2h(temp, rh, speed))
    face = brentq(gains, max(temp - COLDEST_BELOW_K, LOWEST_TEMP_C), temp, xtol=1e-9)
    assert found == pytest.approx(leaving(face) * 3.6e6, rel=1e-6, abs=1e-5)
    # By the Lewis relation convection alone would leave it 0.3 to 0.8 K below the wet bulb.
    assert face > psychrolib.GetTWetBulbFromRelHum(temp, rh / 100.0, 101325.0) - 1.0


@given(TEMPS, st.floats(0, 95), SPEEDS, st.floats(0.5, 4.0))
def test_damper_is_slower_and_faster_air_is_faster(temp: float, rh: float, speed: float, more: float) -> None:
    damp = float(wet_face_g_m2h(temp, rh + more, speed))
    assert damp < float(wet_face_g_m2h(temp, rh, speed)) <= float(wet_face_g_m2h(temp, rh, speed + more))


def test_nothing_leaves_into_saturated_air() -> None:
    assert wet_face_g_m2h([5.0, 21.0, 40.0], 100.0, 0.6) == pytest.approx(0.0, abs=1e-6)


def test_dry_hot_air_is_within_the_search() -> None:
    assert 60.0 - psychrolib.GetTWetBulbFromRelHum(60.0, 1e-4, 101325.0) < COLDEST_BELOW_K - 3.0


@pytest.mark.parametrize(("temp", "rh", "speed"), [(21.0, 50.0, 0.6), (15.0, 70.0, 0.2), (28.0, 35.0, 1.5)])
def test_a_soaking_shell_in_the_model_dries_at_that_rate(temp: float, rh: float, speed: float) -> None:
    # A thick first coat, once it has cooled, over little wax: the model's mean over its film is one of a
    # lognormal spread, whose slow tenth and fast tenth must lie either side of the plain film's rate.
    shell = SpotShell.bare(parse_spot("face"), 25.0).dip(coat("backup", 4.0, 1.4))
    air = Air(temp, rh, speed)
    shell = shell.advance(air, 2400.0)
    rate = (shell.advance(air, 60.0).evaporated_kg - shell.evaporated_kg) * 60_000.0
    plain = float(wet_face_g_m2h(temp, rh, speed))
    assert np.all(rate == pytest.approx(plain, rel=0.12)), (rate, plain)
