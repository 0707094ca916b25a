"""How the surface of a joint gives its vapour to the air, in closed form.

The still layer of air over the newest surface is folded into the corner between its two flats. Along the
straightened layer (see corner) a surface station has a length Δξ, and what leaves it is what a flat wall of
that length would give, and what it trades with its neighbours: vapour of the wet fillet escapes over the flat
once that has dried. Leaving that cross-talk out makes times up to 166 % too long.

Outward flux of station i per metre of joint [kg/s] = D_v Σ_j G_ij ψ_j, with ψ = a_w ρ_sat - ρ_air [kg/m³] at
its surface and D_v the diffusivity of vapour in air [m²/s].
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.drying import corner
from server.drying.joint import JointMesh

Floats = NDArray[np.float64]

SUB_POINTS = 12
MIN_LAYER_M = 1e-4
MAX_LAYER_M = 0.05


def station_lengths(mesh: JointMesh, layer_m: ArrayLike) -> Floats:
    """Length of each station as the still layer sees it, over the layer's thickness: Δξ [-].

    layer_m: thickness of the still layer, per lane [m], 0.1 to 50 mm.
    Returns (lanes, stations). Their sum times D_v ψ is what the joint gives when it is wet all over.

    Raises ValueError when a thickness is out of its range.
    """
    layer = np.atleast_1d(np.asarray(layer_m, dtype=np.float64))
    wrong = layer[~((layer >= MIN_LAYER_M) & (layer <= MAX_LAYER_M))]
    if wrong.size:
        raise ValueError(
            f"still layer of {wrong[0] * 1e3:g} mm is not between {MIN_LAYER_M * 1e3:g} "
            f"and {MAX_LAYER_M * 1e3:g} mm"
        )
    section, grid = mesh.section, mesh.grid
    fillet = section.fillet_m
    half_arc = 0.5 * corner.fillet_arc_m(section.angle_deg, fillet)
    seen = corner.fillet_mean_factor(section.angle_deg, fillet, layer) * half_arc / layer

    from_apex = corner.fillet_tangent_m(section.angle_deg, fillet) + (grid.flats - grid.flats[0])
    xi = corner.wall_coordinate(from_apex / layer[:, None], section.angle_deg)
    tangent, seen_column = xi[:, :1], seen[:, None]
    # A narrow fillet shortens what the layer sees; the flat is pushed along, less and less away from it.
    narrow = xi + tangent * (seen_column - tangent) / xi
    # Beside a wide one the flat is a flat wall.
    wide = seen_column + (grid.flats - grid.flats[0]) / layer[:, None]
    low, high = np.log(corner.NARROW_FILLET), np.log(corner.WIDE_FILLET)
    share = np.clip((np.log(fillet / layer) - low) / (high - low), 0.0, 1.0)[:, None]
    flat = np.diff((1.0 - share) * narrow + share * wide, axis=1)
    arcs = np.broadcast_to(seen_column / grid.fillet_stations, (layer.size, grid.fillet_stations))
    return np.concatenate((arcs, flat), axis=1)


def vapour_coupling(mesh: JointMesh, layer_m: ArrayLike) -> Floats:
    """The coupling G of the joint's stations through the still layer [-].

    layer_m: thickness of the still layer, per lane [m], 0.1 to 50 mm.
    Returns (lanes, stations, stations), symmetric; each row sums to the station's Δξ.

    ψ is taken as piecewise linear between the stations' middles, and traded between fine pieces of the
    surface by the kernel of a strip with one side at the surface, k(x) = π / (4 sinh²(πx/2)), and its image
    in the plane of symmetry.

    Raises ValueError when a thickness is out of its range.
    """
    lengths = station_lengths(mesh, layer_m)
    lanes, stations = lengths.shape
    part = (np.arange(SUB_POINTS) + 0.5) / SUB_POINTS
    start = np.cumsum(lengths, axis=1) - lengths
    points = (start[:, :, None] + lengths[:, :, None] * part).reshape(lanes, -1)
    weights = np.repeat(lengths / SUB_POINTS, SUB_POINTS, axis=1)

    trade = _kernel(np.abs(points[:, :, None] - points[:, None, :])) + _kernel(
        points[:, :, None] + points[:, None, :]
    )
    trade *= weights[:, :, None] * weights[:, None, :]
    each = np.arange(points.shape[1])
    trade[:, each, each] = 0.0  # a piece trades nothing with itself
    balance = -trade
    balance[:, each, each] = trade.sum(axis=2)

    shape = _shape(lengths, part)
    coupling = np.swapaxes(shape, 1, 2) @ balance @ shape
    own = np.arange(stations)
    coupling[:, own, own] += lengths
    return coupling


def _kernel(distance: Floats) -> Floats:
    """π / (4 sinh²(π distance/2)); infinity at 0, which the caller overwrites."""
    decay = np.exp(-np.pi * distance)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.pi * decay / np.expm1(-np.pi * distance) ** 2, dtype=np.float64)


def _shape(lengths: Floats, part: Floats) -> Floats:
    """(lanes, fine pieces, stations) how much of each station's ψ a fine piece has; rows sum to 1."""
    lanes, stations = lengths.shape
    shape = np.zeros((lanes, stations, part.size, stations))
    first, second = part < 0.5, part >= 0.5
    between = 0.5 * (lengths[:, 1:] + lengths[:, :-1])
    for station in range(stations):
        share = np.ones((lanes, part.size))
        if station > 0:
            share[:, first] = (
                1.0 - (0.5 - part[first]) * (lengths[:, station] / between[:, station - 1])[:, None]
            )
            shape[:, station, first, station - 1] = 1.0 - share[:, first]
        if station < stations - 1:
            share[:, second] = (
                1.0 - (part[second] - 0.5) * (lengths[:, station] / between[:, station])[:, None]
            )
            shape[:, station, second, station + 1] = 1.0 - share[:, second]
        shape[:, station, :, station] = share
    return shape.reshape(lanes, stations * part.size, stations)
