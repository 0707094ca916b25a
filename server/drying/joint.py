"""A joint as a network of cells: the corner between two walls, where a tree dries last.

Half of a symmetric joint, per metre of its length: the orthogonal strip. See joint_section for the shapes,
joint_cells for the grid, joint_vapour for how its surface gives vapour to the air.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.drying.joint_cells import Grid, Pieces, cut_pieces, lay_grid, number_cells, spread_order
from server.drying.joint_links import Cells, link_cells
from server.drying.joint_section import JointSection
from server.drying.network import Network

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STATIONS = 8
FLAT_M = 0.015
MIN_STATIONS = 4
MAX_STATIONS = 64


@dataclass(frozen=True, eq=False)
class JointMesh:
    """A joint's network with its geometry.

    section: angle, fillet and coats.
    grid: lines between stations and layers.
    cell_of: (station, layer, coat) cell there, -1 for none.
    along, radius: (cells,) centroids (see joint_cells.Pieces).
    network: cells, links and stations per metre of half a joint (one wall).
    """

    section: JointSection
    grid: Grid
    cell_of: Ints
    along: Floats
    radius: Floats
    network: Network

    @property
    def half_bandwidth(self) -> int:
        """Largest distance in the order of cells between two that touch, or two surface cells."""
        links = np.abs(self.network.link_outer - self.network.link_inner).max(initial=0)
        return max(int(links), self.network.stations - 1)


def joint_network(
    angle_deg: float,
    fillet_m: float,
    thickness_m: tuple[float, ...],
    stations: int = STATIONS,
    flat_m: float = FLAT_M,
) -> JointMesh:
    """The strip of a joint with its coats; the same mesh object for the same joint.

    angle_deg: included angle [°], 15 to 150.
    fillet_m: radius of the fillet that slurry leaves [m].
    thickness_m: thickness of each coat on the flat, from the wax out [m].
    stations: how many, half of them on the fillet's half, 4 to 64.
    flat_m: length of flat beside the fillet that belongs to the strip [m].

    Raises ValueError naming what is out of its range.

    >>> mesh = joint_network(90.0, 0.002, (0.001,))
    >>> round(float(mesh.network.volume.sum()) * 1e6, 3)  # mm²: half the fillet and 15 mm of coat
    17.929
    """
    if not MIN_STATIONS <= stations <= MAX_STATIONS:
        raise ValueError(f"{stations} stations are not between {MIN_STATIONS} and {MAX_STATIONS}")
    if not 0.0 < flat_m < 1.0:
        raise ValueError(f"flat of {flat_m:g} m is not between 0 and 1 m")
    return _mesh(
        JointSection(float(angle_deg), float(fillet_m), tuple(map(float, thickness_m))), stations, flat_m
    )


@lru_cache(maxsize=512)
def _mesh(section: JointSection, stations: int, flat_m: float) -> JointMesh:
    grid = lay_grid(section, stations, flat_m)
    pieces = cut_pieces(section, grid)
    by_layer = number_cells(grid, pieces)
    first_links = link_cells(_centred(section, grid, pieces, by_layer))
    place = spread_order(by_layer, by_layer[:, 0, -1], first_links.outer, first_links.inner)
    cell_of = np.where(by_layer >= 0, place[by_layer], -1)
    cells = _centred(section, grid, pieces, cell_of)
    links = link_cells(cells)
    real = cell_of >= 0
    cell = cell_of[real]

    def total(values: Floats) -> Floats:
        return np.bincount(cell, weights=values[real]).astype(np.float64)

    volume = total(pieces.volume)
    in_fillet = np.arange(grid.stations) < grid.fillet_stations
    if section.coats == 1:
        judged = total(pieces.beyond) / volume
    else:
        judged = (total(pieces.volume * in_fillet[:, None, None]) > 0.0).astype(np.float64)
    surface = cell_of[:, 0, -1]
    depth = cells.radius[surface] - section.fillet_m
    # Round the fillet the way to the surface is measured so that radial flow is exact.
    gap = np.where(in_fillet, section.fillet_m * np.log1p(depth / section.fillet_m), depth)
    network = Network(
        volume=volume,
        coat=np.nonzero(real)[2][np.unique(cell, return_index=True)[1]],
        link_outer=links.outer,
        link_inner=links.inner,
        link_area=links.area,
        link_gap_outer=links.gap_outer,
        link_gap_inner=links.gap_inner,
        link_inward=links.inward,
        station_cell=surface,
        station_area=np.concatenate((section.fillet_m * np.diff(grid.rays), np.diff(grid.flats))),
        station_gap=gap,
        judged=judged,
        judged_stations=in_fillet,
        wall_area=float(grid.flats[-1]),
    )
    return JointMesh(section, grid, cell_of, cells.along, cells.radius, network)


def _centred(section: JointSection, grid: Grid, pieces: Pieces, cell_of: Ints) -> Cells:
    """The numbered cells with their centroids."""
    real = cell_of >= 0
    volume = np.bincount(cell_of[real], weights=pieces.volume[real])
    along = np.bincount(cell_of[real], weights=(pieces.volume * pieces.along)[real]) / volume
    radius = np.bincount(cell_of[real], weights=(pieces.volume * pieces.radius)[real]) / volume
    return Cells(section, grid, cell_of, along, radius)
