"""The surface of a shell, compiled: `skin.SkinSolver` for lanes side by side."""

import numpy as np

from server.drying.quick_math import compiled, copy_rows, log1p_of
from server.drying.quick_parts import Air, Parts, Skin
from server.drying.skin import NEAR, TURNS


@compiled
def activity_at(parts: Parts, surface: np.ndarray, activity: np.ndarray, slope: np.ndarray) -> None:
    """Water activity of surfaces (s, L) and its slope in φ; below φ = 0 a straight line."""
    limit, power = parts.sorption_limit, parts.sorption_power
    for i in range(surface.shape[0]):
        for lane in range(surface.shape[1]):
            b = parts.exponent[lane]
            phi = surface[i, lane]
            saturation = log1p_of(b * max(phi, 0.0)) / b + min(phi, 0.0)
            activity[i, lane] = max(1.0 - saturation / limit, 0.0)
        for lane in range(surface.shape[1]):
            dryness = activity[i, lane]
            below = min(dryness, 1.0)
            steep = below * below if power == 3.0 else below ** (power - 1.0)
            rising = steep * (power / limit) / (1.0 + parts.exponent[lane] * max(surface[i, lane], 0.0))
            slope[i, lane] = rising if dryness > 0.0 else 0.0
        for lane in range(surface.shape[1]):
            dryness = activity[i, lane]
            below = min(dryness, 1.0)
            steep = below * below if power == 3.0 else below ** (power - 1.0)
            activity[i, lane] = 1.0 - steep * below + (below - dryness) * power


@compiled
def settle(parts: Parts, air: Air, phi: np.ndarray, density: np.ndarray, skin: Skin) -> None:
    """Move skin.surface (s, L) from where it is to where diffusion out of the cells is evaporation.

    phi: (unknowns, L) potential, of the cells alone; density: (L,) saturation density [kg/m³].
    """
    stations, lanes = skin.surface.shape
    for turn in range(TURNS):
        activity_at(parts, skin.surface, skin.activity, skin.slope)
        for j in range(stations):
            for lane in range(lanes):
                skin.drive[j, lane] = skin.activity[j, lane] * density[lane] - air.vapour_kg_m3[lane]
        for i in range(stations):
            for lane in range(lanes):
                skin.out[i, lane] = air.vapour[i, 0, lane] * skin.drive[0, lane]
            for j in range(1, stations):
                for lane in range(lanes):
                    skin.out[i, lane] += air.vapour[i, j, lane] * skin.drive[j, lane]
            under = parts.under[i]
            for lane in range(lanes):
                skin.excess[i, lane] = (
                    parts.surface[i, lane] * (phi[under, lane] - skin.surface[i, lane]) - skin.out[i, lane]
                )
            for j in range(stations):
                for lane in range(lanes):
                    skin.wet[i, j, lane] = air.vapour[i, j, lane] * skin.slope[j, lane] * density[lane]
        if stations == 1:
            for lane in range(lanes):
                skin.step[0, lane] = skin.excess[0, lane] / (skin.wet[0, 0, lane] + parts.surface[0, lane])
        else:
            for i in range(stations):
                for j in range(stations):
                    for lane in range(lanes):
                        skin.matrix[i, j, lane] = skin.wet[i, j, lane]
            for i in range(stations):
                for lane in range(lanes):
                    skin.matrix[i, i, lane] += parts.surface[i, lane]
                    skin.step[i, lane] = skin.excess[i, lane]
            factor_dense(skin.matrix)
            solve_dense(skin.matrix, skin.step)
        far = False
        for i in range(stations):
            for lane in range(lanes):
                moved = max(skin.surface[i, lane] + skin.step[i, lane], 0.0)
                skin.step[i, lane] = moved
                far |= not abs(moved - skin.surface[i, lane]) <= NEAR * (0.01 + moved)
        # What is handed on was all reckoned at the same surface, so that the balance closes.
        if turn == TURNS - 1 or not far:
            return
        copy_rows(skin.step, skin.surface, stations)


@compiled
def factor_dense(matrix: np.ndarray) -> None:
    """LU of (s, s, L) matrices in place, no pivoting; the diagonal holds its inverse."""
    size, _, lanes = matrix.shape
    for k in range(size):
        for lane in range(lanes):
            matrix[k, k, lane] = 1.0 / matrix[k, k, lane]
        for i in range(k + 1, size):
            for lane in range(lanes):
                matrix[i, k, lane] *= matrix[k, k, lane]
            for j in range(k + 1, size):
                for lane in range(lanes):
                    matrix[i, j, lane] -= matrix[i, k, lane] * matrix[k, j, lane]


@compiled
def solve_dense(factors: np.ndarray, side: np.ndarray) -> None:
    """Solve (s, L) sides in place with what `factor_dense` made; more rows of `side` are left alone."""
    size, _, lanes = factors.shape
    for k in range(size):
        for i in range(k + 1, size):
            for lane in range(lanes):
                side[i, lane] -= factors[i, k, lane] * side[k, lane]
    for k in range(size - 1, -1, -1):
        for j in range(k + 1, size):
            for lane in range(lanes):
                side[k, lane] -= factors[k, j, lane] * side[j, lane]
        for lane in range(lanes):
            side[k, lane] *= factors[k, k, lane]
