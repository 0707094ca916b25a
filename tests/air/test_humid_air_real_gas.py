"""Moist air against CoolProp's real gas, where CoolProp is to be had (its wheels leave out some machines)."""

import importlib
import os
import platform

import pytest

from sensors import humid_air as ha

if os.environ.get("SLOWCORNER_TEST_ALL") == "1" and platform.machine() in ("x86_64", "AMD64"):
    coolprop = importlib.import_module("CoolProp.CoolProp")  # its wheel is to be had: no leaving out
else:
    coolprop = pytest.importorskip("CoolProp.CoolProp")


@pytest.mark.parametrize("temp", [5.0, 10.0, 20.7, 25.0, 30.0, 40.0])
@pytest.mark.parametrize("rh", [20.0, 45.0, 70.0, 95.0])
def test_states_agree_with_the_real_gas(temp: float, rh: float) -> None:
    # Source: CoolProp (real moist air, Herrmann et al.), which holds 0.4 to 0.5 % more vapour.
    asked = ("T", temp + 273.15, "R", rh / 100, "P", 101325.0)
    vapour = coolprop.HAPropsSI("psi_w", *asked) * 101325.0
    assert float(ha.vapour_pressure_pa(temp, rh)) == pytest.approx(vapour, rel=0.007)
    assert float(ha.wet_bulb_c(temp, rh)) + 273.15 == pytest.approx(
        coolprop.HAPropsSI("Twb", *asked), abs=0.05
    )
    assert float(ha.dew_point_c(temp, rh)) + 273.15 == pytest.approx(
        coolprop.HAPropsSI("D", *asked), abs=0.05
    )


@pytest.mark.parametrize("temp", [-10.0, 0.0, 20.0, 40.0, 65.0, 90.0])
def test_air_carries_as_coolprop_says(temp: float) -> None:
    # Source: CoolProp, dry air (Lemmon et al.) and water on the saturation line (IAPWS-95).
    air = ("T", temp + 273.15, "P", 101325.0, "Air")
    viscosity = coolprop.PropsSI("V", *air) / coolprop.PropsSI("D", *air)
    assert float(ha.air_viscosity_m2_s(temp)) == pytest.approx(viscosity, rel=0.01)
    assert float(ha.air_conductivity_w_mk(temp)) == pytest.approx(coolprop.PropsSI("L", *air), rel=0.015)
    assert float(ha.air_density_kg_m3(temp, 0.0)) == pytest.approx(coolprop.PropsSI("D", *air), rel=0.001)
    if temp > 0.01:
        water = [coolprop.PropsSI("H", "T", temp + 273.15, "Q", quality, "Water") for quality in (0, 1)]
        assert float(ha.latent_heat_j_kg(temp)) == pytest.approx(
            water[1] - water[0], rel=0.001 if temp <= 50 else 0.005
        )
