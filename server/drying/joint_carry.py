"""A joint's water over a dip: from the strip of the old coats to the strip that has one coat more.

The coats stay where they are; only the lines that cut them move, for the rays leave the newest fillet's
centre. How much of each old cell lies in each new one is exact on the flat, and found from fine pieces under
the fillet; then it is balanced so that every cell has its volume: no water is lost or made, and an evenly wet
coat stays even to 1e-4 of its saturation, mostly to 1e-8; to 4e-4 in the sharpest corners of thick coats.

The point where fillet and flat meet moves out with each coat, and the strip's far end with it. The piece of
flat that so comes in has, coat by coat and layer by layer, the saturation of the flat's last station.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.drying.joint import JointMesh
from server.drying.joint_cells import RAYS_PER_STATION, cut, ray_angles

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PIECES_ACROSS = 12
_SLACK = 1e-2
_BALANCE_TURNS = 6000
_BALANCED = 1e-8
_CRUMB = 1e-9


@dataclass(frozen=True, eq=False)
class Carried:
    """A joint's water after a dip.

    saturation: (lanes, new cells) [-].
    added_m3: (lanes, old coats) saturation times volume of the flat that came into the strip [m³ per metre of
        joint]; times what fills the coat's pores [kg/m³] it is the water that came in with it.
    """

    saturation: Floats
    added_m3: Floats


@dataclass(frozen=True, eq=False)
class _Shares:
    """Volumes that old cells give to new ones [m³ per metre].

    kept: (new cells, old cells). added: the same for what lies beyond the old end, by the old cell whose
    saturation it has.
    """

    kept: Floats
    added: Floats


def carry(old: JointMesh, saturation: Floats, new: JointMesh, new_coat_saturation: ArrayLike) -> Carried:
    """Carry the water of the old coats over to the strip with one coat more.

    old, new: the joint before and after the dip: the same, with one coat more.
    saturation: (lanes, old cells) [-].
    new_coat_saturation: of the new coat as it goes on [-], one number or one a lane.

    Raises ValueError when the meshes are not one dip apart or the arrays do not fit.
    """
    if (
        old.section.angle_deg != new.section.angle_deg
        or old.section.fillet_m != new.section.fillet_m
        or old.section.thickness_m != new.section.thickness_m[:-1]
        or old.grid.stations != new.grid.stations
    ):
        raise ValueError(
            f"a joint of {new.section.coats} coats is not the joint of {old.section.coats} coats and one more"
        )
    if saturation.ndim != 2 or saturation.shape[1] != old.network.cells:
        raise ValueError(f"saturation of shape {saturation.shape} does not fit {old.network.cells} cells")
    shares = _shares(old, new)
    carried = saturation @ (shares.kept + shares.added).T / new.network.volume
    fresh = np.flatnonzero(new.network.coat == new.section.coats - 1)
    carried[:, fresh] = np.asarray(new_coat_saturation, dtype=np.float64).reshape(-1, 1)
    added = saturation * shares.added.sum(axis=0)
    by_coat = [added[:, old.network.coat == coat].sum(axis=1) for coat in range(old.section.coats)]
    return Carried(carried, np.stack(by_coat, axis=1))


@lru_cache(maxsize=512)
def _shares(old: JointMesh, new: JointMesh) -> _Shares:
    cells = old.network.cells
    overlap = _fillet_overlap(old, new)
    _add_flat(old, new, overlap)

    last = _last_cells(old)
    width = old.grid.flats[-1] - old.grid.flats[-2]
    beyond = np.zeros(cells)
    beyond[last] = old.network.volume[last] / width * (new.grid.flats[-1] - old.grid.flats[-1])
    balanced = _balance(overlap, new.network.volume, np.concatenate((old.network.volume, beyond)))
    return _Shares(balanced[:, :cells], balanced[:, cells:])


def _fillet_overlap(old: JointMesh, new: JointMesh) -> Floats:
    """(new cells, twice the old) volume under the new fillet that they share, by fine pieces of its rays.

    The right half is what lies beyond the old end: a thick coat in a sharp corner brings the fillet so far.
    """
    section = new.section
    phi, step = ray_angles(new.grid)
    start, end = cut(section, section.radii_m(phi), new.grid)
    ray, layer, coat = np.nonzero((end > start)[:, :, :-1])
    inner, outer = start[ray, layer, coat], end[ray, layer, coat]
    edges = inner + (outer - inner) * np.linspace(0.0, 1.0, PIECES_ACROSS + 1)[:, None]
    middle = 0.5 * (edges[1:] + edges[:-1])
    x = section.tangent_x_m - middle * np.cos(phi[ray])
    y = section.centre_y_m - middle * np.sin(phi[ray])
    source = _locate(old, x, y, np.broadcast_to(coat, x.shape))
    source = source + old.network.cells * (x > old.grid.flats[-1])
    target = np.broadcast_to(new.cell_of[ray // RAYS_PER_STATION, layer, coat], x.shape)
    shape = new.network.cells, 2 * old.network.cells
    slices = 0.5 * np.diff(edges**2, axis=0) * step
    index = np.ravel_multi_index((target, source), shape)
    overlap = np.bincount(index.ravel(), slices.ravel(), shape[0] * shape[1]).reshape(shape)
    # An old cell so small that no piece fell into it still has somewhere to go.
    x_old, y_old = _centroids(old)
    ways: Floats = overlap.astype(np.float64)
    cells = np.arange(old.network.cells)
    ways[_locate(new, x_old, y_old, old.network.coat), cells] += _SLACK * old.network.volume
    # So has what lies just beyond the old end.
    last = _last_cells(old)
    there = _locate(new, np.full(last.size, old.grid.flats[-1]), y_old[last], old.network.coat[last])
    ways[there, old.network.cells + last] += _SLACK * old.network.volume[last]
    # Where an old and a new cell are one and the same, they still differ by how finely they were measured:
    # their neighbours take that up.
    a, b = new.network.link_outer, new.network.link_inner
    same = new.network.coat[a] == new.network.coat[b]
    a, b = a[same], b[same]
    beside = np.zeros((shape[0], shape[0]))
    beside[a, b] = beside[b, a] = _SLACK
    return np.asarray(ways + beside @ ways)


def _last_cells(mesh: JointMesh) -> Ints:
    """The cells of the flat's last station."""
    end = mesh.cell_of[-1]
    return np.unique(end[end >= 0])


def _centroids(mesh: JointMesh) -> tuple[Floats, Floats]:
    """x and y of each cell's centroid, or close to it [m]."""
    station = np.zeros(mesh.network.cells, dtype=np.int64)
    where = np.nonzero(mesh.cell_of >= 0)
    station[mesh.cell_of[where]] = where[0]
    on_flat = station >= mesh.grid.fillet_stations
    angle = np.where(on_flat, 0.5 * np.pi, mesh.along)
    x = mesh.section.tangent_x_m - mesh.radius * np.cos(angle)
    return np.where(on_flat, mesh.along, x), mesh.section.centre_y_m - mesh.radius * np.sin(angle)


def _add_flat(old: JointMesh, new: JointMesh, overlap: Floats) -> None:
    """Add what the new flat's cells share with the old flat's, and with what lies beyond its end: exact."""
    along = _lengths_shared(new.grid.flats, np.append(old.grid.flats, new.grid.flats[-1]))
    fresh = int((new.grid.layer_coat == new.section.coats - 1).sum())
    layers = int((new.grid.layer_coat >= 0).sum())
    below_old = new.grid.depths[fresh : layers + 1] - new.section.thickness_m[-1]
    old_layers = int((old.grid.layer_coat >= 0).sum())
    height = _lengths_shared(below_old, old.grid.depths[: old_layers + 1])
    beyond = old.grid.flat_stations
    for station, part in zip(*np.nonzero(along), strict=True):
        for layer, source_layer in zip(*np.nonzero(height), strict=True):
            coat = old.grid.layer_coat[source_layer]
            cell = new.cell_of[new.grid.fillet_stations + station, fresh + layer, coat]
            source = old.cell_of[old.grid.fillet_stations + min(part, beyond - 1), source_layer, coat]
            column = source + (old.network.cells if part == beyond else 0)
            overlap[cell, column] += along[station, part] * height[layer, source_layer]


def _lengths_shared(new: Floats, old: Floats) -> Floats:
    """(new pieces, old pieces) length that pieces of two divisions of a line share; crumbs are left out."""
    shared = np.minimum(new[1:, None], old[1:]) - np.maximum(new[:-1, None], old[:-1])
    return np.where(shared > _CRUMB * (new[-1] - new[0]), shared, 0.0)


def _locate(mesh: JointMesh, x: Floats, y: Floats, coat: Ints) -> Ints:
    """The cell of that coat at each point, or the nearest in its station."""
    grid, section = mesh.grid, mesh.section
    over, under = section.tangent_x_m - x, section.centre_y_m - y
    in_fillet = over > 0.0
    ray = np.searchsorted(grid.rays, np.arctan2(under, over), side="right") - 1
    normal = np.searchsorted(grid.flats, x, side="right") - 1
    station = np.where(
        in_fillet,
        np.clip(ray, 0, grid.fillet_stations - 1),
        grid.fillet_stations + np.clip(normal, 0, grid.flat_stations - 1),
    )
    depth = np.where(in_fillet, np.hypot(over, under), under) - section.fillet_m
    layer = np.clip(np.searchsorted(grid.depths, depth, side="right") - 1, 0, grid.layers - 1)
    return _nearest_cells(mesh)[station, layer, coat]


def _nearest_cells(mesh: JointMesh) -> Ints:
    """cell_of with each hole filled by the nearest layer's cell of the same station and coat."""
    filled = mesh.cell_of.copy()
    layers = np.arange(mesh.grid.layers)
    for station in range(mesh.grid.stations):
        for coat in range(mesh.section.coats):
            there = np.flatnonzero(filled[station, :, coat] >= 0)
            nearest = there[np.abs(layers[:, None] - there).argmin(axis=1)]
            filled[station, :, coat] = filled[station, nearest, coat]
    return filled


def _balance(overlap: Floats, rows: Floats, columns: Floats) -> Floats:
    """Scale rows and columns in turn until they sum to their volumes (iterative proportional fitting).

    overlap: (new cells, old cells) approximate.
    rows, columns: volumes of the new cells and of the old [m³ per metre].

    Cells of the new coat have no overlap and stay empty. The columns are exact to rounding: no water is lost.
    """
    fed = np.flatnonzero(overlap.sum(axis=1))
    feeding = np.flatnonzero(columns)
    fitted = overlap[np.ix_(fed, feeding)]
    rows, wanted = rows[fed], columns[feeding]
    for _ in range(_BALANCE_TURNS):
        fitted *= wanted / fitted.sum(axis=0)
        sums = fitted.sum(axis=1)
        if np.abs(sums / rows - 1.0).max() < _BALANCED:
            break
        fitted *= (rows / sums)[:, None]
    fitted *= wanted / fitted.sum(axis=0)
    balanced = np.zeros_like(overlap)
    balanced[np.ix_(fed, feeding)] = fitted
    return balanced
