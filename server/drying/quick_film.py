"""The film of air on a surface, compiled: `transfer.film` and the moist air it needs, for one lane.

Limits are not checked here: what calls this has looked at the air.
"""

import numpy as np

from sensors.humid_air import (
    DRY_AIR_GAS_J_KGK,
    STANDARD_PRESSURE_PA,
    TRIPLE_POINT_C,
    VAPOUR_GAS_J_KGK,
    ZERO_C_IN_K,
)
from server.drying.quick_math import compiled
from server.drying.transfer import AIR_HEAT_J_KGK, GRAVITY_M_S2, TURBULENT_FROM_RE

_THIRD = 1.0 / 3.0


@compiled
def saturation_density(temp_c: float) -> float:
    """`humid_air.saturation_density_kg_m3`."""
    t = temp_c + ZERO_C_IN_K
    if temp_c <= TRIPLE_POINT_C:
        log = (
            -5.6745359e3 / t
            + 6.3925247
            + t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - 9.484024e-13 * t)))
            + 4.1635019 * np.log(t)
        )
    else:
        log = (
            -5.8002206e3 / t
            + 1.3914993
            + t * (-4.8640239e-2 + t * (4.1764768e-5 - 1.4452093e-8 * t))
            + 6.5459673 * np.log(t)
        )
    return float(np.exp(log)) / (VAPOUR_GAS_J_KGK * t)


@compiled
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
    dynamic = 1.716e-5 * (t / 273.15) ** 1.5 * (273.15 + 110.4) / (t + 110.4)
    viscosity = dynamic * DRY_AIR_GAS_J_KGK * t / pressure_pa
    conductivity = 0.0241 * (t / 273.0) ** 1.5 * (273.0 + 194.0) / (t + 194.0)
    diffusivity = 0.2178e-4 * (t / ZERO_C_IN_K) ** 1.81 * (STANDARD_PRESSURE_PA / pressure_pa)
    density = pressure_pa / (DRY_AIR_GAS_J_KGK * t)
    thermal = conductivity / (density * AIR_HEAT_J_KGK)
    prandtl = viscosity / thermal
    reynolds = speed_m_s * length_m / viscosity
    plate = 0.664 * np.sqrt(reynolds) if reynolds <= TURBULENT_FROM_RE else 0.037 * reynolds**0.8 - 871.0
    forced = plate * prandtl**_THIRD
    heavier = _moist_density(surface_c, surface_vapour, pressure_pa) - _moist_density(
        air_c, air_vapour, pressure_pa
    )
    rayleigh = GRAVITY_M_S2 * abs(heavier) / density * length_m**3 / (viscosity * thermal)
    shape = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (4.0 / 9.0)
    natural = 0.68 + 0.670 * rayleigh**0.25 / shape
    heat = (forced**3 + natural**3) ** _THIRD * conductivity / length_m
    mass = heat / (density * AIR_HEAT_J_KGK) / (thermal / diffusivity) ** (2.0 * _THIRD)
    wet = _vapour_fraction(surface_c, surface_vapour, pressure_pa)
    apart = wet - _vapour_fraction(air_c, air_vapour, pressure_pa)
    stefan = 1.0 / (1.0 - wet)
    if abs(apart) >= 1e-9:
        stefan = float(np.log1p(apart / (1.0 - wet))) / apart
    return heat, mass, diffusivity, conductivity, stefan


@compiled
def _moist_density(temp_c: float, vapour: float, pressure_pa: float) -> float:
    t = temp_c + ZERO_C_IN_K
    return (pressure_pa - vapour * VAPOUR_GAS_J_KGK * t) / (DRY_AIR_GAS_J_KGK * t) + vapour


@compiled
def _vapour_fraction(temp_c: float, vapour: float, pressure_pa: float) -> float:
    return vapour * VAPOUR_GAS_J_KGK * (temp_c + ZERO_C_IN_K) / pressure_pa
