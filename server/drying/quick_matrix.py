"""The matrix of a step of the quick kernel, eliminated and solved for many lanes side by side.

M = F R + C/(γh) + the surfaces' part, where F is the flow between unknowns (symmetric), R the rise of φ with
S and C the capacity. Divided by R, column by column, the cells' part is symmetric and its diagonal outweighs
the rest of the row: it is eliminated from the wax outwards without pivots, in half the work of a general
elimination. What is left is a small dense system for the surfaces, which the vapour couples and whose own
diagonal outweighs its columns, and the temperature, which borders it.
"""

import numpy as np

from server.drying.quick_math import compiled, entrance
from server.drying.quick_parts import Parts, Room
from server.drying.quick_skin import factor_dense, solve_dense


@entrance
def fill(filled: np.ndarray, stations: int) -> None:
    """Mark in `Parts.filled` what elimination will fill."""
    unknowns, width = filled.shape
    for k in range(unknowns - 1, stations - 1, -1):
        for i in range(1, min(width - 1, k) + 1):
            if filled[k, i]:
                for j in range(i, min(width - 1, k) + 1):
                    if filled[k, j]:
                        filled[k - i, j - i] = True


@compiled
def eliminate(parts: Parts, room: Room, phi: np.ndarray, rate: float) -> None:
    """Make the factors for a step of 1/(γ rate), at cells of such φ, with room.links and
    room.skin.wet as they are; room.fall is found on the way."""
    band, filled, inverse = room.band, parts.filled, room.inverse
    stations, lanes = parts.surface.shape
    unknowns, width = filled.shape
    assemble(parts, room, phi, rate)
    for k in range(unknowns - 1, stations - 1, -1):
        for lane in range(lanes):
            inverse[k, lane] = 1.0 / band[k, 0, lane]
        last = min(width - 1, k)
        for i in range(1, last + 1):
            if not filled[k, i]:
                continue
            # The diagonal's place holds the factor meanwhile.
            for lane in range(lanes):
                band[k, 0, lane] = band[k, i, lane] * inverse[k, lane]
            for j in range(i, last + 1):
                if filled[k, j]:
                    for lane in range(lanes):
                        band[k - i, j - i, lane] -= band[k, 0, lane] * band[k, j, lane]
            for lane in range(lanes):
                band[k, i, lane] = band[k, 0, lane]
    for i in range(stations):
        for j in range(stations):
            row, far = max(i, j), abs(i - j)
            for lane in range(lanes):
                room.dense[i, j, lane] = room.skin.wet[i, j, lane]
            if filled[row, far]:
                for lane in range(lanes):
                    room.dense[i, j, lane] += band[row, far, lane]
    factor_dense(room.dense)


@compiled
def assemble(parts: Parts, room: Room, phi: np.ndarray, rate: float) -> None:
    """The matrix, divided by the rise, all but the vapour's part; one over the rise goes to room.fall."""
    band, filled = room.band, parts.filled
    stations, lanes = parts.surface.shape
    unknowns, width = filled.shape
    for u in range(unknowns):
        k = u - stations
        if k < 0:
            for lane in range(lanes):
                band[u, 0, lane] = 0.0
        else:
            for lane in range(lanes):
                fall = 1.0 / (1.0 + parts.exponent[lane] * phi[u, lane])
                room.fall[k, lane] = fall
                band[u, 0, lane] = parts.capacity[k, lane] * rate * fall
        for i in range(1, width):
            if filled[u, i]:
                for lane in range(lanes):
                    band[u, i, lane] = 0.0
    for link in range(parts.link_a.size):
        a, b = parts.link_a[link], parts.link_b[link]
        row, far = max(a, b), abs(a - b)
        for lane in range(lanes):
            band[a, 0, lane] += room.links[link, lane]
        for lane in range(lanes):
            band[b, 0, lane] += room.links[link, lane]
        for lane in range(lanes):
            band[row, far, lane] -= room.links[link, lane]
    for i in range(stations):
        cell = parts.under[i]
        for lane in range(lanes):
            band[i, 0, lane] += parts.surface[i, lane]
        for lane in range(lanes):
            band[cell, 0, lane] += parts.surface[i, lane]
        for lane in range(lanes):
            band[cell, cell - i, lane] -= parts.surface[i, lane]


@compiled
def border(room: Room) -> None:
    """Solve for how the surfaces answer to the temperature, in place: room.border is what they give off."""
    solve_dense(room.dense, room.border)


@compiled
def solve(
    parts: Parts,
    room: Room,
    pivot: np.ndarray,
    side: np.ndarray,
    warming: np.ndarray,
    latent: np.ndarray,
    moved: np.ndarray,
) -> None:
    """Solve in place for a `side` (unknowns, L) and the heat's `warming`; the temperature goes to `moved`.

    pivot: (L,) the heat's, the border taken off.
    """
    band, filled, inverse = room.band, parts.filled, room.inverse
    stations, lanes = parts.surface.shape
    unknowns, width = filled.shape
    for k in range(unknowns - 1, stations - 1, -1):
        for i in range(1, min(width - 1, k) + 1):
            if filled[k, i]:
                for lane in range(lanes):
                    side[k - i, lane] -= band[k, i, lane] * side[k, lane]
    solve_dense(room.dense, side)
    for lane in range(lanes):
        moved[lane] = 0.0
    for j in range(stations):
        for lane in range(lanes):
            moved[lane] += room.wet[j, lane] * side[j, lane]
    for lane in range(lanes):
        moved[lane] = (warming[lane] - latent[lane] * moved[lane]) / pivot[lane]
    for j in range(stations):
        for lane in range(lanes):
            side[j, lane] -= room.border[j, lane] * moved[lane]
    for k in range(stations, unknowns):
        for lane in range(lanes):
            side[k, lane] *= inverse[k, lane]
        for i in range(1, min(width - 1, k) + 1):
            if filled[k, i]:
                for lane in range(lanes):
                    side[k, lane] -= band[k, i, lane] * side[k - i, lane]
        # A row is scaled once the last that looks back at it is done, while it is still near at hand.
        scale(room, side, k - width + 1, stations)
    for k in range(unknowns - width + 1, unknowns):
        scale(room, side, k, stations)


@compiled
def scale(room: Room, side: np.ndarray, u: int, stations: int) -> None:
    """Turn a cell's φ back into its S; a surface stays."""
    if u >= stations:
        for lane in range(side.shape[1]):
            side[u, lane] *= room.fall[u - stations, lane]
