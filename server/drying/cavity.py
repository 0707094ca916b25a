"""A cavity: a hollow that is coated inside and gives its water to the room through its mouth alone.

The air inside is one well-mixed box. Its vapour gets in from the coat through the film of natural convection
and out through the mouth, so the two lie in series, per square metre of inside area A:

    1/K = 1/h_m + A/(G + Q)

G is what diffuses out: the neck, as long as the wall is thick, and the half space of still air before a round
mouth, 2 D d (a disc in a half space conducts four times its radius: Carslaw & Jaeger, Conduction of Heat in
Solids, from memory). Q is the room's air that is blown through, none where it is not. The box itself holds
less than a hundredth of a coat's water and is taken to be in balance at all times.

Coats narrow the mouth, on the wax as it is told: where they close it, nothing gets out any more.

Left out: air that falls out of or rises through the mouth by its own weight, and a draught of the room that
sweeps over it or reaches in; both make a hollow dry sooner than this says, and nobody can rely on them.

Heat: the inside sees its own wall and not the room, so nothing radiates in. It is warmed through the mouth,
which is next to nothing unless air is blown in, and through the wax from the outside of the tree, which is
taken to have dried and to be as warm as the room: its film and its radiation, then the wax.
"""

import math

import numpy as np
from numpy.typing import NDArray

from server.drying.exposure import Exposure, lone_column
from server.drying.face import carry_column, cell_counts, face_network
from server.drying.materials import Members
from server.drying.network import Network
from server.drying.pocket import stagnant_m2_s
from server.drying.transfer import Film

Floats = NDArray[np.float64]

BLOWN_M3_S = 5.0e-4
"""Room air that is blown through a hollow [m³/s]: 30 l/min, a small blower on a hose (assumed).

An aquarium pump moves a tenth of it, a fan held at the mouth several times as much.
"""

INSIDE_HEAT_W_M2K = 2.0
"""Natural convection inside [W/m²K]: a wall of 0.2 m that is 1 K off the air (Churchill & Chu's plate)."""

WAX_WALL_M = 0.006
"""Thickness of the wax of a hollow pattern [m] (from memory: 4 to 8 mm); also how long the neck is."""

WAX_CONDUCTIVITY_W_MK = 0.25
"""Heat conductivity of pattern wax [W/mK] (from memory: 0.2 to 0.3)."""

AIR_HEAT_J_M3K = 1.2e3
"""Heat that a cubic metre of room air carries for each kelvin [J/m³K]."""


class CavityShape:
    """The inside of a hollow, per square metre of it."""

    def __init__(self, mouth_m: float, area_m2: float, blown: bool, members: Members) -> None:
        self.mouth_m = mouth_m
        self.area_m2 = area_m2
        self.blown_m3_s = BLOWN_M3_S if blown else 0.0
        self.columns = lone_column(members.lee)

    def network(self, thickness_m: tuple[float, ...]) -> Network:
        """The column of cells under the inside surface."""
        return face_network(thickness_m, cell_counts(len(thickness_m)))

    def carry(
        self, old: tuple[float, ...], saturation: Floats, new: tuple[float, ...], fresh: Floats
    ) -> Floats:
        """The saturation of every cell once another coat is on."""
        return carry_column(self.network(old), saturation, self.network(new), fresh)

    def exposure(self, thickness_m: tuple[float, ...], film: Film, radiation_w_m2k: float) -> Exposure:
        """What the inside film, the mouth and the wall let through."""
        coats = sum(thickness_m)
        mouth = max(self.mouth_m - 2.0 * coats, 0.0)
        neck = WAX_WALL_M + coats
        blown = self.blown_m3_s if mouth > 0.0 else 0.0
        # Vapour and heat pass one and the same film of air in the measure they do outside.
        inside = INSIDE_HEAT_W_M2K * film.mass_m_s / film.heat_w_m2k
        vapour = _in_series(inside, (mouth_m3_s(stagnant_m2_s(film), mouth, neck) + blown) / self.area_m2)
        through_mouth = mouth_m3_s(film.conductivity_w_mk, mouth, neck) + blown * AIR_HEAT_J_M3K
        convection = _in_series(np.full_like(inside, INSIDE_HEAT_W_M2K), through_mouth / self.area_m2)
        outside = film.heat_w_m2k + radiation_w_m2k
        through_wall = 1.0 / (1.0 / outside + WAX_WALL_M / WAX_CONDUCTIVITY_W_MK)
        return Exposure(vapour[:, None, None], convection, through_wall, convection + through_wall)


def mouth_m3_s(diffusivity: Floats, mouth_m: float, neck_m: float) -> Floats:
    """What still air lets through a round mouth with a neck for a diffusivity [m²/s]: [m³/s].

    The same holds for heat, with a conductivity [W/mK] for the diffusivity: [W/K].

    >>> mouth_m3_s(np.array([2.5e-5]), 0.06, 0.0)
    array([3.e-06])
    """
    neck = neck_m / (math.pi * mouth_m**2 / 4.0) if mouth_m > 0.0 else math.inf
    before = 1.0 / (2.0 * mouth_m) if mouth_m > 0.0 else math.inf
    return np.asarray(diffusivity / (before + neck))


def _in_series(one: Floats, other: Floats) -> Floats:
    return np.asarray(one * other / (one + other))
