"""A spot's coats as the solver takes them: the shape, the cells and the conductances between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.drying.cavity import CavityShape
from server.drying.exposure import Shape
from server.drying.face import FaceShape
from server.drying.joint_shape import JointShape
from server.drying.kernel import Solver
from server.drying.materials import SHELL_HEAT_J_KGK, WAX_HEAT_J_M2K, CoatMaterial, Members
from server.drying.medium import Medium
from server.drying.network import Network
from server.drying.pocket import PocketShape
from server.drying.spots import CavitySpot, FaceSpot, JointSpot, PocketSpot, Spot

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Build:
    """A spot with its coats.

    fresh: (L, n) saturation of each cell as its dip brought it [-].
    dry_mass: (L,) dry mass of all coats [kg per unit].
    film_factor: (L,) film of each lane over the mean film [-].
    station_share: (s,) share of the surface that each station has [-].
    """

    shape: Shape
    thickness_m: tuple[float, ...]
    network: Network
    solver: Solver
    fresh: Floats
    dry_mass: Floats
    film_factor: Floats
    station_share: Floats

    @property
    def lanes(self) -> int:
        """Members times columns."""
        return int(self.dry_mass.size)

    def by_lane(self, of_members: Floats) -> Floats:
        """A value of each member as one of each lane."""
        return np.repeat(of_members, self.shape.columns.weights.size)


def shape_of(spot: Spot, fillet_m: float, members: Members) -> Shape:
    """The shape a spot is reckoned as."""
    match spot:
        case FaceSpot():
            return FaceShape()
        case JointSpot(angle_deg):
            return JointShape(angle_deg, fillet_m, members)
        case PocketSpot(_, depth_mm):
            return PocketShape(depth_mm * 1e-3, members)
        case CavitySpot(mouth_mm, area_m2, blown):
            return CavityShape(mouth_mm * 1e-3, area_m2, blown, members)


def build(spot: Spot, fillet_m: float, members: Members, coats: tuple[CoatMaterial, ...]) -> Build:
    """Cut a spot's coats into cells and say what passes between them."""
    shape = shape_of(spot, fillet_m, members)
    thickness = tuple(coat.thickness_m for coat in coats)
    network = shape.network(thickness)
    columns = shape.columns.weights.size

    def by_cell(name: str) -> Floats:
        """A figure of each lane's member for the coat of each cell, (L, n)."""
        return np.repeat(members.by_coat(name, coats)[:, of_coat], columns, axis=0)

    of_coat = network.coat
    pores = np.array([coat.saturation_kg_m3 for coat in coats])[of_coat]
    dry = np.array([coat.diffusivity_m2_s * coat.saturation_kg_m3 for coat in coats])[of_coat]
    dry_density = np.array([coat.dry_kg_m2 / coat.thickness_m for coat in coats])[of_coat]
    fresh = np.array([coat.fresh_saturation for coat in coats])[of_coat]
    ease = by_cell("diffusivity") * dry
    older = of_coat < len(coats) - 1
    inward_ease = np.where(older, ease / by_cell("rewetting"), ease)
    outer, inner = network.link_outer, network.link_inner

    def conductance(through: Floats) -> Floats:
        outside = network.link_gap_outer / through[:, outer]
        return np.asarray(network.link_area / (outside + network.link_gap_inner / through[:, inner]))

    link = conductance(ease)
    dry_mass = float(network.volume @ dry_density)
    count = members.count * columns
    medium = Medium(
        network=network,
        capacity=np.tile(network.volume * pores, (count, 1)),
        saturation_kg_m3=np.tile(pores, (count, 1)),
        link=link,
        link_inward=np.where(network.link_inward, conductance(inward_ease), link),
        surface=np.asarray(network.station_area * ease[:, network.station_cell] / network.station_gap),
        exponent=np.repeat(members.exponent, columns),
        heat=np.full(count, WAX_HEAT_J_M2K * network.wall_area + SHELL_HEAT_J_KGK * dry_mass),
    )
    return Build(
        shape=shape,
        thickness_m=thickness,
        network=network,
        solver=Solver(medium),
        fresh=by_cell("water") * fresh,
        dry_mass=np.full(count, dry_mass),
        film_factor=shape.columns.film_factors(members.film_spread).ravel(),
        station_share=network.station_area / network.station_area.sum(),
    )
