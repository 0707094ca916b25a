"""The film of air on a surface, compiled: `transfer.film` and the moist air it needs, for one lane.

Limits are not checked here: what calls this has looked at the air.
"""

import math

import numpy as np

from sensors.humid_air import (
    DRY_AIR_GAS_J_KGK,
    STANDARD_PRESSURE_PA,
    TRIPLE_POINT_C,
    VAPOUR_GAS_J_KGK,
    ZERO_C_IN_K,
)
from server.drying.quick_math import exp_of, inlined, log1p_of, log_of, power_of
from server.drying.transfer import AIR_HEAT_J_KGK, GRAVITY_M_S2, TURBULENT_FROM_RE

_THIRD = 1.0 / 3.0
_LOG_GAS = math.log(VAPOUR_GAS_J_KGK)


@inlined
def saturation_log_of(temp_c: float) -> float:
    """Logarithm of `humid_air.saturation_density_kg_m3`."""
    t = temp_c + ZERO_C_IN_K
    log = log_of(t)
    ice = (
        -5.6745359e3 / t
        + 6.3925247
        + t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - 9.484024e-13 * t)))
        + 4.1635019 * log
    )
    water = (
        -5.8002206e3 / t
        + 1.3914993
        + t * (-4.8640239e-2 + t * (4.1764768e-5 - 1.4452093e-8 * t))
        + 6.5459673 * log
    )
    over = ice if temp_c <= TRIPLE_POINT_C else water
    return over - _LOG_GAS - log


@inlined
def vapour_density_of(temp_c: float, rh_pct: float) -> float:
    """`humid_air.vapour_density_kg_m3`."""
    return rh_pct / 100.0 * exp_of(saturation_log_of(temp_c))


@inlined
def film_of(
    air_c: float,
    air_vapour: float,
    speed_m_s: float,
    length_m: float,
    surface_c: float,
    surface_vapour: float,
    pressure_pa: float,
) -> tuple[float, float, float, float, float]:
    """What `transfer.Film` holds, in its order: h, h_m, D_v, the air's conductivity, Stefan's drift."""
    mean_c = 0.5 * (surface_c + air_c)
    t = mean_c + ZERO_C_IN_K
    root = np.sqrt(t)
    dynamic = (1.716e-5 / 273.15**1.5) * (t * root) * (273.15 + 110.4) / (t + 110.4)
    viscosity = dynamic * DRY_AIR_GAS_J_KGK * t / pressure_pa
    conductivity = (0.0241 / 273.0**1.5) * (t * root) * (273.0 + 194.0) / (t + 194.0)
    diffusivity = 0.2178e-4 * power_of(t / ZERO_C_IN_K, 1.81) * (STANDARD_PRESSURE_PA / pressure_pa)
    density = pressure_pa / (DRY_AIR_GAS_J_KGK * t)
    thermal = conductivity / (density * AIR_HEAT_J_KGK)
    prandtl = viscosity / thermal
    reynolds = speed_m_s * length_m / viscosity
    laminar = 0.664 * np.sqrt(reynolds)
    turbulent = 0.037 * power_of(max(reynolds, TURBULENT_FROM_RE), 0.8) - 871.0
    plate = laminar if reynolds <= TURBULENT_FROM_RE else turbulent
    by_prandtl = power_of(prandtl, _THIRD)
    forced = plate * by_prandtl
    heavier = _moist_density(surface_c, surface_vapour, pressure_pa) - _moist_density(
        air_c, air_vapour, pressure_pa
    )
    rayleigh = (
        GRAVITY_M_S2 * abs(heavier) / density * (length_m * length_m * length_m) / (viscosity * thermal)
    )
    shape = power_of(1.0 + power_of(0.492 / prandtl, 9.0 / 16.0), 4.0 / 9.0)
    natural = 0.68 + 0.670 * np.sqrt(np.sqrt(rayleigh)) / shape
    heat = power_of(forced * forced * forced + natural * natural * natural, _THIRD) * conductivity / length_m
    mass = heat / (density * AIR_HEAT_J_KGK) / power_of(thermal / diffusivity, 2.0 * _THIRD)
    wet = _vapour_fraction(surface_c, surface_vapour, pressure_pa)
    apart = wet - _vapour_fraction(air_c, air_vapour, pressure_pa)
    far = abs(apart) >= 1e-9
    drift = log1p_of(apart / (1.0 - wet)) / (apart if far else 1.0)
    stefan = drift if far else 1.0 / (1.0 - wet)
    return heat, mass, diffusivity, conductivity, stefan


@inlined
def _moist_density(temp_c: float, vapour: float, pressure_pa: float) -> float:
    t = temp_c + ZERO_C_IN_K
    return (pressure_pa - vapour * VAPOUR_GAS_J_KGK * t) / (DRY_AIR_GAS_J_KGK * t) + vapour


@inlined
def _vapour_fraction(temp_c: float, vapour: float, pressure_pa: float) -> float:
    return vapour * VAPOUR_GAS_J_KGK * (temp_c + ZERO_C_IN_K) / pressure_pa
