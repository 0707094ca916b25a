"""What the solver is given and gives back: the shell of one spot, the air at it, and how wet it is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.drying.materials import SORPTION_LIMIT, SORPTION_POWER
from server.drying.network import Network

Floats = NDArray[np.float64]

LINEAR_EXPONENT = 1e-9
"""A smaller b than this is taken as this, so that φ = S needs no formula of its own [-]."""


@dataclass(frozen=True, eq=False)
class Medium:
    """The shell of one spot as the solver sees it; values per unit of the spot.

    There are L lanes, n cells, m links, s stations.

    capacity: (L, n) water in a cell at saturation 1 [kg].
    saturation_kg_m3: (L, n) the same in a cubic metre [kg/m³].
    link: (L, m) conductance of each link where nothing hinders [kg/s].
    link_inward: (L, m) its conductance while water moves towards the wax [kg/s].
    surface: (L, s) conductance from each station's cell to its surface [kg/s].
    exponent: (L,) b of the diffusivity exp(b S) [-].
    heat: (L,) heat capacity, the wax's and the shell's [J/K].
    """

    network: Network
    capacity: Floats
    saturation_kg_m3: Floats
    link: Floats
    link_inward: Floats
    surface: Floats
    exponent: Floats
    heat: Floats
    sorption_limit: float = SORPTION_LIMIT
    sorption_power: float = SORPTION_POWER


@dataclass(frozen=True, eq=False)
class Surroundings:
    """The air at one spot, held constant for a while; values per unit of the spot.

    vapour: (L, s, s) K, water leaving station i for a vapour excess of 1 kg/m³ over station j [m³/s].
    convection, radiation: (L,) heat conductance to the air and to the room [W/K].
    air_temp_c: (L,) temperature of the air and the room [°C].
    air_vapour: (L,) vapour density of the air [kg/m³].
    ground_temp_c: (L,) temperature around which the saturation density is expanded [°C].
    saturation_log: (3, L) logarithm of the saturation density there [kg/m³], its slope [1/K], and half
        its curvature [1/K²].
    latent_heat: (L,) [J/kg].
    """

    vapour: Floats
    convection: Floats
    radiation: Floats
    air_temp_c: Floats
    air_vapour: Floats
    ground_temp_c: Floats
    saturation_log: Floats
    latent_heat: Floats


@dataclass(frozen=True, eq=False)
class Wetness:
    """The state of one spot.

    saturation: (L, n) of each cell [-]; surface: (L, s) potential φ at each station's surface [-].
    temp_c: (L,) [°C]; evaporated: (L,) water that has left since the start [kg].
    step_s: the next step to try [s].
    """

    saturation: Floats
    surface: Floats
    temp_c: Floats
    evaporated: Floats
    step_s: float


def potential(saturation: Floats, exponent: Floats) -> Floats:
    """φ = (exp(b S) − 1)/b of (L, k) saturations and (L,) exponents [-]; S where b is 0.

    >>> potential(np.array([[0.5]]), np.array([0.0]))
    array([[0.5]])
    """
    b = np.maximum(exponent, LINEAR_EXPONENT)[:, None]
    return np.asarray(np.expm1(b * saturation) / b)


def saturation_log(temp_c: Floats, around: Surroundings) -> tuple[Floats, Floats]:
    """Logarithm of the saturation density [kg/m³] and its slope [1/K] near the ground temperature."""
    beyond = temp_c - around.ground_temp_c
    level, slope, half_curve = around.saturation_log
    return level + beyond * (slope + half_curve * beyond), slope + 2.0 * half_curve * beyond
