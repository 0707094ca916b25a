"""Cells of a joint's section: station by station, layer by layer, coat by coat.

Stations of the fillet lie between rays through its centre, stations of the flat between normals to the wall.
Layers lie between equal depths below the surface, in every station the same, so that neighbours at the same
depth exchange water along the surface: this orthogonal grid follows a two-dimensional solution where columns
normal to the wall, or rays from the wall to the arc, do not converge. No cell straddles two coats: where a
coat's interface cuts a cell it is split in two, and a sliver joins its neighbour of the same coat.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.drying.joint_section import JointSection

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEW_COAT_LAYERS = 4
SECOND_COAT_LAYERS = 2
LAYER_GRADE = 1.3
LAYER_GROWTH = 1.7
FLAT_GRADE = 1.35
RAYS_PER_STATION = 64
SLIVER = 0.05
"""A cell of less than this share of its uncut size joins its neighbour. Larger cells are worth their cost: at
0.25 a sharp joint under several coats dries 3 % too early, measured against a solution in two dimensions.
"""


@dataclass(frozen=True)
class Grid:
    """Lines that cut a joint's section into stations and layers.

    rays: (fillet stations + 1,) angles of the rays [rad].
    flats: (flat stations + 1,) distances along the wall from the apex [m]; the first is the tangent point.
    depths: (layers + 1,) depths below the newest surface [m].
    layer_coat: (layers,) coat that each layer is of on the flat; -1 for those that only the fillet has.
    """

    rays: Floats
    flats: Floats
    depths: Floats
    layer_coat: Ints

    @property
    def fillet_stations(self) -> int:
        """How many stations the fillet's half has."""
        return self.rays.size - 1

    @property
    def flat_stations(self) -> int:
        """How many stations the flat has."""
        return self.flats.size - 1

    @property
    def stations(self) -> int:
        """How many stations there are."""
        return self.fillet_stations + self.flat_stations

    @property
    def layers(self) -> int:
        """How many layers there are."""
        return self.depths.size - 1


@dataclass(frozen=True)
class Pieces:
    """What the lines and the interfaces cut out: arrays over (station, layer, coat).

    volume: area of each piece [m²]; 0 where there is none.
    full: (station, layer) area of the piece that no wax and no interface cuts [m²].
    beyond: area of the piece's part that lies beyond the newest flat surface's line [m²].
    along: centroid along the surface: a ray's angle [rad] in the fillet, a distance [m] on the flat.
    radius: centroid's distance from the fillet's centre, or r_f + depth on the flat [m].
    """

    volume: Floats
    full: Floats
    beyond: Floats
    along: Floats
    radius: Floats


def lay_grid(section: JointSection, stations: int, flat_m: float) -> Grid:
    """Stations and layers for a joint: half the stations on the fillet, equal arcs; the flat's grow away."""
    fillet_stations = stations // 2
    rays = np.linspace(section.half_rad, 0.5 * np.pi, fillet_stations + 1)
    widths = FLAT_GRADE ** np.arange(stations - fillet_stations)
    flats = section.tangent_x_m + flat_m * np.concatenate(([0.0], np.cumsum(widths) / widths.sum()))

    steps: list[float] = []
    layer_coat: list[int] = []
    for coat in range(section.coats - 1, -1, -1):
        age = section.coats - 1 - coat
        layers = NEW_COAT_LAYERS if age == 0 else SECOND_COAT_LAYERS if age == 1 else 1
        edges = np.linspace(0.0, 1.0, layers + 1) ** LAYER_GRADE  # finer to the outside
        steps.extend(section.thickness_m[coat] * np.diff(edges))
        layer_coat.extend([coat] * layers)
    below = section.deepest_m - section.heights_m[-1]
    growing: list[float] = []
    while sum(growing) < below:
        growing.append((growing[-1] if growing else steps[-1]) * LAYER_GROWTH)
    steps.extend(below / sum(growing) * np.array(growing))
    layer_coat.extend([-1] * len(growing))
    depths = np.concatenate(([0.0], np.cumsum(steps)))
    # On the flat the layers' edges are the interfaces themselves, to the bit.
    for coat in range(section.coats):
        last = max(i for i, of in enumerate(layer_coat) if of == coat)
        depths[last + 1] = section.heights_m[-1] - section.heights_m[coat]
    return Grid(rays, flats, depths, np.array(layer_coat, dtype=np.int64))


def ray_angles(grid: Grid) -> tuple[Floats, float]:
    """(fillet stations × rays per station,) angles in the middle of fine equal steps, and the step [rad]."""
    count = grid.fillet_stations * RAYS_PER_STATION
    step = float(grid.rays[-1] - grid.rays[0]) / count
    return grid.rays[0] + step * (np.arange(count) + 0.5), step


def cut(section: JointSection, radii: Floats, grid: Grid) -> tuple[Floats, Floats]:
    """Where the pieces of rays begin and end.

    radii: (coats + 1, rays) the interfaces along the rays [m].
    Returns two (rays, layers, coats) arrays: inner and outer end, from the fillet's centre [m]; equal where
    a ray has nothing of that coat in that layer.
    """
    edges = section.fillet_m + grid.depths
    start = np.maximum(edges[None, :-1, None], radii[1:].T[:, None, :])
    end = np.minimum(edges[None, 1:, None], radii[:-1].T[:, None, :])
    return start, np.maximum(start, end)


def cut_pieces(section: JointSection, grid: Grid) -> Pieces:
    """Areas and centroids of all pieces, fine rays summed; each coat's area is then made exact."""
    phi, step = ray_angles(grid)
    start, end = cut(section, section.radii_m(phi), grid)
    shape = (grid.fillet_stations, RAYS_PER_STATION, grid.layers, section.coats)

    def over_rays(each: Floats) -> Floats:
        return np.asarray(each.reshape(shape).sum(axis=1), dtype=np.float64)

    slices = 0.5 * (end**2 - start**2) * step
    fillet_volume = over_rays(slices)
    weight = np.maximum(fillet_volume, np.finfo(float).tiny)
    fillet_radius = over_rays((end**3 - start**3) / 3.0 * step) / weight
    fillet_along = over_rays(slices * phi[:, None, None]) / weight
    line = (section.fillet_m / np.sin(phi))[:, None, None]  # the newest flat surface's line, on each ray
    fillet_beyond = over_rays(0.5 * (np.clip(line, start, end) ** 2 - start**2) * step)
    edges = section.fillet_m + grid.depths
    fillet_full = 0.5 * np.diff(edges**2) * np.diff(grid.rays)[:, None]

    on_flat = grid.layer_coat[:, None] == np.arange(section.coats)
    flat_full = np.diff(grid.flats)[:, None] * np.diff(grid.depths)
    flat_volume = flat_full[:, :, None] * on_flat
    middles = 0.5 * (grid.flats[1:] + grid.flats[:-1])
    flat_along = np.broadcast_to(middles[:, None, None], flat_volume.shape)
    flat_radius = np.broadcast_to((0.5 * (edges[1:] + edges[:-1]))[None, :, None], flat_volume.shape)

    exact = section.coat_areas_m2(float(grid.flats[-1])) - flat_volume.sum(axis=(0, 1))
    scale = exact / fillet_volume.sum(axis=(0, 1))
    return Pieces(
        volume=np.concatenate((fillet_volume * scale, flat_volume)),
        full=np.concatenate((fillet_full, flat_full)),
        beyond=np.concatenate((fillet_beyond * scale, np.zeros_like(flat_volume))),
        along=np.concatenate((fillet_along, flat_along)),
        radius=np.concatenate((fillet_radius, flat_radius)),
    )


def number_cells(grid: Grid, pieces: Pieces) -> Ints:
    """Which cell each piece belongs to: (station, layer, coat), -1 where there is none.

    Cells are counted layer by layer from the surface, in a layer station by station from the middle of the
    fillet; the surface cells come first.
    """
    stations, layers, coats = pieces.volume.shape
    groups: list[tuple[int, int, int, list[int]]] = []
    for station in range(stations):
        for coat in range(coats):
            column = _join_slivers(pieces.volume[station, :, coat], pieces.full[station])
            groups.extend((group[0], station, -coat, group) for group in column)
    groups.sort()
    cell_of = np.full((stations, layers, coats), -1, dtype=np.int64)
    for cell, (_, station, minus_coat, group) in enumerate(groups):
        cell_of[station, group, -minus_coat] = cell
    return cell_of


def _join_slivers(volume: Floats, full: Floats) -> list[list[int]]:
    """Layers of one coat in one station, grouped so that no group is a sliver of its layer."""
    groups = [[int(layer)] for layer in np.flatnonzero(volume > 0.0)]

    def share(group: list[int]) -> float:
        return float(volume[group].sum() / full[group].min())

    while len(groups) > 1:
        smallest = min(range(len(groups)), key=lambda g: share(groups[g]))
        if share(groups[smallest]) >= SLIVER:
            break
        beside = [g for g in (smallest - 1, smallest + 1) if 0 <= g < len(groups)]
        into = max(beside, key=lambda g: volume[groups[g]].sum())
        first, second = sorted((smallest, into))
        groups[first : second + 1] = [groups[first] + groups[second]]
    return groups


def spread_order(cell_of: Ints, surface: Ints, outer: Ints, inner: Ints) -> Ints:
    """(cells,) the place of each cell when they are counted by how many links they are from the surface.

    cell_of: as number_cells gives it.
    surface: (stations,) surface cells.
    outer, inner: (links,) cells joined.

    Cells as far from the surface as each other are counted station by station: linked cells then come close
    together, and the solver's band is about half as wide as in the order of layers once there are many coats.
    """
    count = int(cell_of.max()) + 1
    far = np.full(count, count, dtype=np.int64)
    far[surface] = 0
    for _ in range(count):
        nearer = far.copy()
        np.minimum.at(nearer, inner, far[outer] + 1)
        np.minimum.at(nearer, outer, far[inner] + 1)
        if np.array_equal(nearer, far):
            break
        far = nearer
    station = np.zeros(count, dtype=np.int64)
    where = np.nonzero(cell_of >= 0)
    station[cell_of[where]] = where[0]
    place = np.empty(count, dtype=np.int64)
    place[np.lexsort((np.arange(count), station, far))] = np.arange(count)
    return place
