"""From a surface to the air: how fast heat and vapour get through the film of air on it.

Forced flow: a flat plate along the air (Pohlhausen's laminar Nu = 0.664 Re^½ Pr^⅓ up to Re 5e5, beyond it
the mixed Nu = (0.037 Re^0.8 − 871) Pr^⅓). Still air: a vertical plate (Churchill & Chu 1975). Both as in
Incropera & DeWitt, Fundamentals of Heat and Mass Transfer (from memory), blended by the cube rule for flows
that help each other (Churchill 1977, from memory). Vapour goes by the analogy of Chilton and Colburn,
h/(ρ c_p h_m) = Le^⅔.

Vapour is driven by densities, as in the references the joints are checked against. Mole fractions would be
the truer measure where the surface is colder than the air: about 1 % less for each kelvin.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sensors.air import Air
from sensors.humid_air import (
    DRY_AIR_GAS_J_KGK,
    STANDARD_PRESSURE_PA,
    VAPOUR_GAS_J_KGK,
    ZERO_C_IN_K,
    air_conductivity_w_mk,
    air_viscosity_m2_s,
    vapour_diffusivity_m2_s,
)

Floats = NDArray[np.float64]

LOWEST_TEMP_C, HIGHEST_TEMP_C = -10.0, 60.0
FASTEST_M_S = 20.0
SHORTEST_M, LONGEST_M = 0.001, 3.0
TURBULENT_FROM_RE = 5.0e5

STEFAN_BOLTZMANN_W_M2K4 = 5.670374419e-8
EMISSIVITY = 0.9
"""Of wet or dry shell in the far infrared [-] (from memory: 0.85-0.95)."""
GRAVITY_M_S2 = 9.81
AIR_HEAT_J_KGK = 1006.0
"""Specific heat of dry air [J/kgK] (ASHRAE 2017)."""


def covers(air: Air) -> bool:
    """Whether the model covers that air: not freezing hard, not scorching, not a gale.

    >>> covers(Air(21.0, 50.0, 0.6)), covers(Air(-15.0, 50.0, 0.6))
    (True, False)
    """
    return LOWEST_TEMP_C <= air.temp_c <= HIGHEST_TEMP_C and 0.0 <= air.speed_m_s <= FASTEST_M_S


class TransferRangeError(ValueError):
    """Air or a size that the correlations do not cover: the message names thing, value and limits."""


@dataclass(frozen=True, eq=False)
class Film:
    """The film of air on a surface.

    heat_w_m2k: convective heat transfer h [W/m²K].
    mass_m_s: mass transfer h_m [m/s].
    vapour_diffusivity_m2_s: D_v of the air between [m²/s].
    conductivity_w_mk: of that air [W/mK].
    stefan: how much the vapour's own drift adds in a stagnant column [-], see `stefan_correction`.
    """

    heat_w_m2k: Floats
    mass_m_s: Floats
    vapour_diffusivity_m2_s: Floats
    conductivity_w_mk: Floats
    stefan: Floats

    def times(self, factor: Floats) -> "Film":
        """The same air behind a film that lets so much more through, heat and vapour alike."""
        return replace(self, heat_w_m2k=self.heat_w_m2k * factor, mass_m_s=self.mass_m_s * factor)

    @property
    def layer_m(self) -> Floats:
        """Thickness of still air that would pass as much vapour, δ = D_v/h_m [m]."""
        return np.asarray(self.vapour_diffusivity_m2_s / self.mass_m_s)


def film(
    air_temp_c: ArrayLike,
    air_vapour_kg_m3: ArrayLike,
    speed_m_s: ArrayLike,
    length_m: float,
    surface_temp_c: ArrayLike,
    surface_vapour_kg_m3: ArrayLike,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> Film:
    """The film on a surface of that length along the air [m], in air of that speed [m/s].

    Air and surface temperature [°C], their vapour density [kg/m³] and speed broadcast, one value a lane;
    properties are taken at the mean of surface and air, at that pressure [Pa]. Air −10 to 60 °C, 0 to 20 m/s,
    length 1 mm to 3 m; outside: TransferRangeError.

    >>> moving = film(20.0, 0.009, 0.6, 0.05, 20.0, 0.009)
    >>> round(float(moving.layer_m) * 1000, 2)
    1.99
    """
    speed = np.asarray(speed_m_s, dtype=np.float64)
    air_temp = np.asarray(air_temp_c, dtype=np.float64)
    _check("air temperature", "°C", air_temp, LOWEST_TEMP_C, HIGHEST_TEMP_C)
    _check("air speed", "m/s", speed, 0.0, FASTEST_M_S)
    _check("length along the air", "m", length_m, SHORTEST_M, LONGEST_M)
    surface_temp = np.asarray(surface_temp_c, dtype=np.float64)
    mean_c = 0.5 * (surface_temp + air_temp)
    viscosity = air_viscosity_m2_s(mean_c, pressure_pa)
    conductivity = air_conductivity_w_mk(mean_c)
    diffusivity = vapour_diffusivity_m2_s(mean_c, pressure_pa)
    density = pressure_pa / (DRY_AIR_GAS_J_KGK * (mean_c + ZERO_C_IN_K))
    thermal = conductivity / (density * AIR_HEAT_J_KGK)
    prandtl = viscosity / thermal

    reynolds = speed * length_m / viscosity
    forced = forced_nusselt(reynolds, prandtl)
    heavier = _density(surface_temp, np.asarray(surface_vapour_kg_m3), pressure_pa) - _density(
        air_temp, np.asarray(air_vapour_kg_m3), pressure_pa
    )
    rayleigh = GRAVITY_M_S2 * np.abs(heavier) / density * length_m**3 / (viscosity * thermal)
    natural = natural_nusselt(rayleigh, prandtl)
    heat = np.cbrt(forced**3 + natural**3) * conductivity / length_m
    lewis = thermal / diffusivity
    mass = heat / (density * AIR_HEAT_J_KGK) / np.cbrt(lewis) ** 2
    stefan = stefan_correction(
        _vapour_fraction(surface_temp, np.asarray(surface_vapour_kg_m3), pressure_pa),
        _vapour_fraction(air_temp, np.asarray(air_vapour_kg_m3), pressure_pa),
    )
    return Film(heat, mass, diffusivity, conductivity, stefan)


def stefan_correction(surface_fraction: ArrayLike, air_fraction: ArrayLike) -> Floats:
    """Flux through a stagnant column over plain diffusion [-], ln[(1 − x₂)/(1 − x₁)]/(x₁ − x₂).

    Stefan's tube, as in Bird, Stewart & Lightfoot, Transport Phenomena; x are mole fractions of vapour.

    >>> round(float(stefan_correction(0.0231, 0.0)), 4)
    1.0117
    """
    wet = np.asarray(surface_fraction, dtype=np.float64)
    difference = wet - np.asarray(air_fraction, dtype=np.float64)
    # ln((1-x2)/(1-x1)) = log1p(d/(1-x1)): for no difference at all the limit is 1/(1-x1).
    small = np.abs(difference) < 1e-9
    safe = np.where(small, 1.0, difference)
    return np.asarray(np.where(small, 1.0 / (1.0 - wet), np.log1p(safe / (1.0 - wet)) / safe))


def forced_nusselt(reynolds: ArrayLike, prandtl: ArrayLike) -> Floats:
    """Mean Nusselt number of a flat plate along the flow [-].

    >>> round(float(forced_nusselt(1000.0, 0.71)), 2)
    18.73
    """
    re = np.asarray(reynolds, dtype=np.float64)
    shape = np.where(re <= TURBULENT_FROM_RE, 0.664 * np.sqrt(re), 0.037 * re**0.8 - 871.0)
    return np.asarray(shape * np.cbrt(prandtl))


def natural_nusselt(rayleigh: ArrayLike, prandtl: ArrayLike) -> Floats:
    """Mean Nusselt number of a vertical plate in still air [-], laminar form, Rayleigh number up to 1e9.

    The trees of a shell room stay well below that (0.3 m and 10 K give 2e7).

    >>> round(float(natural_nusselt(1e4, 0.71)), 2)
    5.82
    """
    shape = (1.0 + (0.492 / np.asarray(prandtl, dtype=np.float64)) ** (9 / 16)) ** (4 / 9)
    return np.asarray(0.68 + 0.670 * np.asarray(rayleigh, dtype=np.float64) ** 0.25 / shape)


def radiation_w_m2k(temp_c: float) -> float:
    """Radiation between a surface and a room of about the same temperature, 4 ε σ T³ [W/m²K].

    >>> round(radiation_w_m2k(21.0), 2)
    5.2
    """
    return 4.0 * EMISSIVITY * STEFAN_BOLTZMANN_W_M2K4 * (temp_c + ZERO_C_IN_K) ** 3


def _density(temp_c: Floats, vapour_kg_m3: Floats, pressure_pa: float) -> Floats:
    """Density of moist air [kg/m³] from its vapour density."""
    kelvin = temp_c + ZERO_C_IN_K
    dry = (pressure_pa - vapour_kg_m3 * VAPOUR_GAS_J_KGK * kelvin) / (DRY_AIR_GAS_J_KGK * kelvin)
    return np.asarray(dry + vapour_kg_m3)


def _vapour_fraction(temp_c: Floats, vapour_kg_m3: Floats, pressure_pa: float) -> Floats:
    """Mole fraction of vapour [-]."""
    return np.asarray(vapour_kg_m3 * VAPOUR_GAS_J_KGK * (temp_c + ZERO_C_IN_K) / pressure_pa)


def _check(thing: str, unit: str, value: ArrayLike, lowest: float, highest: float) -> None:
    values = np.asarray(value, dtype=np.float64)
    inside = (values >= lowest) & (values <= highest)
    if not inside.all():
        raise TransferRangeError(
            f"{thing} {float(values[~inside].flat[0]):g} {unit} is outside {lowest:g} to {highest:g} {unit}"
        )
