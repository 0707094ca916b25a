"""Books, closed forms and the published trial: moist air, rates, slabs, corners, still columns, bars."""

import importlib
from collections.abc import Iterator
from functools import partial

import numpy as np

from sensors import humid_air as ha
from server.drying import corner
from server.drying.transfer import film
from tests.air.test_humid_air import STATES
from tests.drying import test_corner, test_kernel, test_transfer, test_trial
from tests.drying.checks.row import Row, between, near
from tests.drying.checks.shown import shown

PSYCHROLIB = "psychrolib 2.5, ideal gas"


def moist_air() -> Iterator[Row]:
    """Four states: vapour and humidity ratio, dew point and wet bulb."""
    for temp, rh, ratio, dew, bulb, vapour, density in STATES:
        state = f"{temp:g} °C {rh:g} %RH"
        for name, got, wanted in (
            ("humidity ratio", ha.humidity_ratio(temp, rh), ratio),
            ("vapour pressure, Pa", ha.vapour_pressure_pa(temp, rh), vapour),
            ("vapour density", ha.vapour_density_kg_m3(temp, rh), density),
        ):
            yield near("moist air", f"{state}, {name}", float(got), wanted, PSYCHROLIB, share=0.007)
        for name, got, wanted in (
            ("dew point", ha.dew_point_c(temp, rh), dew),
            ("wet bulb", ha.wet_bulb_c(temp, rh), bulb),
        ):
            yield near("moist air", f"{state}, {name}", float(got), wanted, PSYCHROLIB, off=0.05, unit=" °C")


def real_air() -> Iterator[Row]:
    """The same states as a real gas, where CoolProp is to be had; it holds 0.4 to 0.5 % more vapour."""
    try:
        real = importlib.import_module("CoolProp.CoolProp").HAPropsSI
    except ImportError:
        return
    for temp, rh, *_ in STATES:
        asked, state = ("T", temp + 273.15, "R", rh / 100.0, "P", 101325.0), f"{temp:g} °C {rh:g} %RH"
        vapour, bulb = real("psi_w", *asked) * 101325.0, real("Twb", *asked) - 273.15
        got, got_bulb = float(ha.vapour_pressure_pa(temp, rh)), float(ha.wet_bulb_c(temp, rh))
        yield near("moist air", f"{state}, vapour pressure, Pa", got, vapour, "CoolProp", share=0.007)
        yield near("moist air", f"{state}, wet bulb", got_bulb, bulb, "CoolProp", off=0.05, unit=" °C")


def rates() -> Iterator[Row]:
    """The constant-rate period."""
    made = test_kernel.TestConstantRate()
    line = "constant rate"
    book = "Geankoplis, example 9.6-3 (book; inputs secondary)"
    yield shown(line, "insulated pan", "3.392 kg/m²h, 28.9 °C", "0.5 %", book, made.test_an_insulated_pan)
    book = "Coulson & Richardson vol. 2, example 16.4 (secondary)"
    yield shown(line, "tray", "11673 s", "1 %", book, made.test_a_tray_of_wet_solids)
    for temp, humidity, wet in ((20.7, 45.0, 13.19), (22.0, 50.0, 15.02), (25.0, 50.0, 17.46)):
        test = partial(test_transfer.test_a_wet_surface_in_a_draught, temp, humidity, wet)
        case = f"wet surface, {temp:g} °C {humidity:g} %RH"
        yield shown(line, case, f"{wet} °C", "0.05 °C", "computed, Lewis number to the 2/3", test)


def slabs() -> Iterator[Row]:
    """A slab with a film, sealed behind."""
    source = "Crank, 2nd ed., surface evaporation (section from memory), series"
    for biot, at_02, at_10 in (
        (0.5, 0.914623, 0.649760),
        (2.0, 0.766282, 0.302159),
        (10.0, 0.583262, 0.113496),
    ):
        test = partial(test_kernel.test_a_slab_behind_a_film, biot, at_02, at_10)
        yield shown("slab", f"Bi {biot:g}, Fo 0.2 and 1", f"{at_02}, {at_10}", "1e-3", source, test)


def corners() -> Iterator[Row]:
    """The joint's factor F, and its fillet."""
    for angle, factors in test_corner.FACTORS.items():
        for distance, wanted in zip((0.1, 0.5, 1.0, 2.0, 3.0), factors, strict=True):
            got = float(corner.corner_factor(distance, angle))
            case = f"F, {angle:g}°, s/δ {distance:g}"
            yield near("corner", case, got, wanted, "computed, conformal map", share=0.01)
    for angle, (depth_mm, area_mm2) in test_corner.FILLETS.items():
        depth, area = corner.fillet_depth_m(angle, 0.002) * 1e3, corner.fillet_area_m2(angle, 0.002) * 1e6
        case, source = f"fillet of 2 mm, {angle:g}°", "elementary geometry"
        yield near("corner", f"{case}, depth", depth, depth_mm, source, share=0.01, unit=" mm")
        yield near("corner", f"{case}, area", area, area_mm2, source, share=0.01, unit=" mm²")


def still_columns() -> Iterator[Row]:
    """Pockets: Stefan's tube."""
    made = test_transfer.TestStefan()
    book = "Geankoplis, example 6.2-2 (book; inputs secondary)"
    yield shown("pocket", "Stefan tube", "1.593e-7 kmol/m²s", "1.5 %", book, made.test_a_tube)
    for depth, rate in ((20, 49.10), (50, 19.64)):
        test = partial(made.test_a_pocket_in_the_shop, depth, 22.0, rate)
        yield shown("pocket", f"{depth} mm deep", f"{rate} g/m²h", "1.5 %", "computed, Massman's D", test)


def open_pans() -> Iterator[Row]:
    """Water in a slurry pot at 22 °C, 45 %RH, 0.2 m/s: a small shop's pots, not tanks of a metre and more."""
    vapour = float(ha.vapour_density_kg_m3(22.0, 45.0))
    wet = ha.saturation_density_kg_m3(np.array([22.0]))
    for width_m in (0.3, 0.5):
        found = film(22.0, vapour, 0.2, width_m, np.array([22.0]), wet)
        rate = float(found.mass_m_s[0] * (wet[0] - vapour)) * 3600.0
        source = "film estimates, tanks of 0.3-1.5 m; ASHRAE pool form, halved, 0.112 (memory)"
        yield between("open pan", f"{width_m:g} m wide", rate, 0.080, 0.140, source, " kg/m²h")


def trial() -> Iterator[Row]:
    """Bars in a shell room under fans."""
    source = "Guerra & Dooley, INCAST, June 2020; 21 °C, 25 mm assumed"
    one, fourth = test_trial.left(180), test_trial.left(240, older=3)
    longer = test_trial.when(fourth, 0.115) - test_trial.when(one, 0.115)
    line = "published trial"
    yield between(line, "left at 60 min", 100.0 * one[60], 30.0, 40.0, source, " %", "36.5 %")
    yield between(line, "left at 120 min", 100.0 * one[120], 9.0, 14.0, source, " %", "11.5 %")
    yield between(line, "longer on three coats", longer, 3.0, 30.0, source, " min", "about 10 min")
