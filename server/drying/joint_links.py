"""The faces that a joint's cells share, gathered into links.

Three kinds: a layer's edge (towards the wax, in one coat), a coat's interface (towards the wax, from coat to
coat, sloping through the fillet's cells), and a ray or normal (sideways, in one coat). Each raw face lies
between two pieces; pieces that were joined into one cell bring their faces with them.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from server.drying.joint_cells import RAYS_PER_STATION, Grid, cut, ray_angles
from server.drying.joint_section import JointSection

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NEAREST_END = 0.1
"""A face's distance from either cell's centre is at least this share of the way between them."""

LEAST_COSINE = 0.3
"""Deep in a sharp corner under many coats, an interface can run almost along the way between its cells."""


class Kind(IntEnum):
    """What a face is."""

    ARC = 0  # edge of a layer in the fillet
    PLANE = 1  # edge of a layer, or an interface, on the flat
    SLOPE = 2  # interface in the fillet
    RAY = 3  # between stations of the fillet
    TANGENT = 4  # from the fillet's last station to the flat's first
    NORMAL = 5  # between stations of the flat


INWARD = (Kind.ARC, Kind.PLANE, Kind.SLOPE)


@dataclass(frozen=True)
class Cells:
    """Numbered cells of one joint.

    cell_of: (station, layer, coat) cell of each piece, -1 for none.
    along, radius: (cells,) centroids, as in joint_cells.Pieces.
    """

    section: JointSection
    grid: Grid
    cell_of: Ints
    along: Floats
    radius: Floats


@dataclass(frozen=True)
class Links:
    """Cells joined, as the network wants them: see server.drying.network.Network."""

    outer: Ints
    inner: Ints
    area: Floats
    gap_outer: Floats
    gap_inner: Floats
    inward: NDArray[np.bool_]


@dataclass(frozen=True)
class _Faces:
    """Raw faces of one kind, or of all kinds: one row each.

    area [m²]; sideways: the face's vector along the surface [m²]; radius, along: its middle (as in Pieces).
    """

    kind: Ints
    outer: Ints
    inner: Ints
    area: Floats
    sideways: Floats
    radius: Floats
    along: Floats


def link_cells(cells: Cells) -> Links:
    """Gather all faces between the same two cells into one link, and measure its gaps."""
    kinds = (_layer_edges(cells), _interfaces(cells), _rays(cells), _flat_layers(cells), _normals(cells))
    names = ("kind", "outer", "inner", "area", "sideways", "radius", "along")
    kind, outer, inner, area, sideways, radius, along = (
        np.concatenate([getattr(faces, name) for faces in kinds]) for name in names
    )
    real = (outer != inner) & (outer >= 0) & (inner >= 0) & (area > 0.0)
    count = cells.along.size
    key = np.minimum(outer, inner) * count + np.maximum(outer, inner)
    _, first, group = np.unique(key[real], return_index=True, return_inverse=True)

    def total(values: Floats) -> Floats:
        return np.bincount(group, weights=values[real], minlength=first.size).astype(np.float64)

    summed = total(area)
    faces = _Faces(
        kind=kind[real][first],
        outer=outer[real][first],
        inner=inner[real][first],
        area=summed,
        sideways=total(sideways),
        radius=total(area * radius) / summed,
        along=total(area * along) / summed,
    )
    return _measure(cells, faces)


def _faces(
    kind: Kind,
    outer: Ints,
    inner: Ints,
    area: Floats,
    radius: Floats,
    along: Floats,
    sideways: Floats | None = None,
) -> _Faces:
    return _Faces(
        kind=np.full(outer.size, kind),
        outer=outer,
        inner=inner,
        area=area,
        sideways=np.zeros(outer.size) if sideways is None else sideways,
        radius=radius,
        along=along,
    )


def _layer_edges(cells: Cells) -> _Faces:
    phi, step = ray_angles(cells.grid)
    radii = cells.section.radii_m(phi)
    edges = cells.section.fillet_m + cells.grid.depths[1:-1]
    inside = (radii[1:, None, :] < edges[:, None]) & (edges[:, None] < radii[:-1, None, :])
    coat, layer, ray = np.nonzero(inside)
    station = ray // RAYS_PER_STATION
    return _faces(
        Kind.ARC,
        cells.cell_of[station, layer, coat],
        cells.cell_of[station, layer + 1, coat],
        step * edges[layer],
        edges[layer],
        phi[ray],
    )


def _interfaces(cells: Cells) -> _Faces:
    phi, step = ray_angles(cells.grid)
    radii = cells.section.radii_m(phi)[1:-1]
    ends = cells.section.radii_m(np.concatenate((phi - 0.5 * step, phi[-1:] + 0.5 * step)))[1:-1]
    layer = np.searchsorted(cells.section.fillet_m + cells.grid.depths, radii, side="right") - 1
    inner_coat, ray = np.indices(radii.shape)
    station = ray // RAYS_PER_STATION
    return _faces(
        Kind.SLOPE,
        cells.cell_of[station, layer, inner_coat + 1].ravel(),
        cells.cell_of[station, layer, inner_coat].ravel(),
        (radii * step).ravel(),
        radii.ravel(),
        phi[ray].ravel(),
        -np.diff(ends, axis=1).ravel(),
    )


def _rays(cells: Cells) -> _Faces:
    start, end = cut(cells.section, cells.section.radii_m(cells.grid.rays[1:]), cells.grid)
    station, layer, coat = np.nonzero(end - start > 1e-9 * cells.section.fillet_m)
    begin, stop = start[station, layer, coat], end[station, layer, coat]
    last = station == cells.grid.fillet_stations - 1
    faces = _faces(
        Kind.RAY,
        cells.cell_of[station, layer, coat],
        cells.cell_of[station + 1, layer, coat],
        stop - begin,
        0.5 * (begin + stop),
        cells.grid.rays[station + 1],
    )
    faces.kind[last] = Kind.TANGENT
    return faces


def _flat_layers(cells: Cells) -> _Faces:
    grid = cells.grid
    layers = int((grid.layer_coat >= 0).sum())
    station, layer = np.indices((grid.flat_stations, layers - 1)).reshape(2, -1)
    on = grid.fillet_stations + station
    return _faces(
        Kind.PLANE,
        cells.cell_of[on, layer, grid.layer_coat[layer]],
        cells.cell_of[on, layer + 1, grid.layer_coat[layer + 1]],
        np.diff(grid.flats)[station],
        cells.section.fillet_m + grid.depths[layer + 1],
        grid.flats[station],
    )


def _normals(cells: Cells) -> _Faces:
    grid = cells.grid
    layers = int((grid.layer_coat >= 0).sum())
    station, layer = np.indices((grid.flat_stations - 1, layers)).reshape(2, -1)
    on, coat = grid.fillet_stations + station, grid.layer_coat[layer]
    return _faces(
        Kind.NORMAL,
        cells.cell_of[on, layer, coat],
        cells.cell_of[on + 1, layer, coat],
        np.diff(grid.depths)[layer],
        cells.section.fillet_m + grid.depths[layer],
        grid.flats[station + 1],
    )


def _measure(cells: Cells, faces: _Faces) -> Links:
    """Area and gaps of each link, so that area over gap is exact for flow along the way from cell to cell."""
    radius_o, radius_i = cells.radius[faces.outer], cells.radius[faces.inner]
    along_o, along_i = cells.along[faces.outer], cells.along[faces.inner]
    middle, at = faces.radius, faces.along

    # Where the face lies on the way, and how long the way is.
    outer_part, inner_part = np.empty_like(middle), np.empty_like(middle)
    area = faces.area.copy()
    arc, plane, slope, ray, tangent, normal = (faces.kind == kind for kind in Kind)
    # Round an arc the way is measured so that radial flow through its spreading area is exact.
    outer_part[arc] = (middle * np.log(middle / radius_o))[arc]
    inner_part[arc] = (middle * np.log(radius_i / middle))[arc]
    outer_part[plane], inner_part[plane] = (middle - radius_o)[plane], (radius_i - middle)[plane]
    outer_part[ray], inner_part[ray] = (middle * (at - along_o))[ray], (middle * (along_i - at))[ray]
    start = float(cells.grid.flats[0])
    outer_part[tangent] = (middle * (at - along_o))[tangent]
    inner_part[tangent] = (along_i - start)[tangent]
    outer_part[normal], inner_part[normal] = (at - along_o)[normal], (along_i - at)[normal]

    # A slope's area is its shadow across the way from centroid to centroid: exact for flow along that way.
    across = np.hypot(radius_i - radius_o, middle * (along_i - along_o))
    shadow = faces.area * (radius_i - radius_o) + faces.sideways * middle * (along_i - along_o)
    to_face = (middle - radius_o) * (radius_i - radius_o) + middle**2 * (at - along_o) * (along_i - along_o)
    least = LEAST_COSINE * np.hypot(faces.area, faces.sideways)
    area[slope] = np.maximum(shadow / across, least)[slope]
    outer_part[slope] = (to_face / across)[slope]
    inner_part[slope] = (across - to_face / across)[slope]

    way = outer_part + inner_part
    if not (np.all(way > 0.0) and np.all(area > 0.0)):
        raise ArithmeticError("cells of a joint lie the wrong way round")
    share = np.clip(outer_part / way, NEAREST_END, 1.0 - NEAREST_END)
    return Links(
        outer=faces.outer,
        inner=faces.inner,
        area=area,
        gap_outer=share * way,
        gap_inner=(1.0 - share) * way,
        inward=arc | plane | slope,
    )
