"""A drying joint in two dimensions by finite elements: not the strip's method, but the same equations.

Linear triangles on the section of the shell, water diffusing with D0 exp(b S); linear triangles on the still
layer of air, vapour diffusing steadily from the surface to the layer's outside (its answer is a matrix from
surface to surface); one temperature. Nothing of the strip's geometry, conformal map or links is used.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.integrate import solve_ivp
from scipy.sparse.linalg import splu

from sensors.humid_air import latent_heat_j_kg, saturation_density_kg_m3
from server.drying.materials import SORPTION_LIMIT, SORPTION_POWER, equilibrium_saturation
from tests.drying.joint_reference import (
    AIR_C,
    AIR_LAYER_W_MK,
    FULL_KG_M3,
    RADIATION_W_M2K,
    RH_PCT,
    VAPOUR_M2_S,
    WAX_J_M2K,
    Slurry,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Fineness:
    """Elements along the fillet's half and the flat, through the shell, through the air."""

    fillet: int = 24
    flat: int = 24
    shell: int = 18
    air: int = 28


@dataclass(frozen=True)
class _Triangles:
    points: Floats
    corners: Ints
    areas: Floats
    stiffness: Any
    outer: Ints
    inner: Ints


class CornerSolution:
    """Half a joint with its coats, solved for one still layer.

    angle_deg: included angle [°]. coats_m: thickness of each coat from the wax out [m].
    layer_m: thickness of the still layer [m].
    """

    def __init__(
        self,
        angle_deg: float,
        fillet_m: float,
        coats_m: tuple[float, ...],
        layer_m: float,
        flat_m: float = 0.015,
        fineness: Fineness | None = None,
    ) -> None:
        fine = fineness or Fineness()
        self.half = 0.5 * math.radians(angle_deg)
        self.fillet_m, self.heights = fillet_m, np.cumsum(coats_m)
        height = float(self.heights[-1])
        self.tangent_x = (height + fillet_m) / math.tan(self.half)
        rays = np.linspace(self.half, 0.5 * math.pi, fine.fillet + 1)
        share = np.linspace(0.0, 1.0, fine.flat + 1)[1:]
        flat_x = self.tangent_x + flat_m * (share + 1.5 * share**2) / 2.5
        centre = np.array([self.tangent_x, height + fillet_m])
        arc = centre - fillet_m * np.column_stack([np.cos(rays), np.sin(rays)])
        surface = np.concatenate([arc, np.column_stack([flat_x, np.full(fine.flat, height)])])
        along = np.concatenate(
            [fillet_m * (rays - self.half), fillet_m * (rays[-1] - self.half) + flat_x - self.tangent_x]
        )
        wall_x = np.concatenate([self.tangent_x * np.linspace(0.0, 1.0, fine.fillet + 1), flat_x])
        wall = np.column_stack([wall_x, np.zeros_like(wall_x)])
        self.shell = _triangulate(surface, wall, np.linspace(0.0, 1.0, fine.shell + 1) ** 2)

        shift = np.array([height / math.tan(self.half), height])
        if fillet_m <= layer_m:  # the outside of the layer is two straight lines
            first = layer_m / math.tan(self.half)
            end = flat_x[-1] - shift[0]
            outside_x = first + (end - first) * along / along[-1]
            outside = np.column_stack([outside_x, np.full(outside_x.size, layer_m)]) + shift
        else:  # it bends round the fillet
            bend = centre - (fillet_m - layer_m) * np.column_stack([np.cos(rays), np.sin(rays)])
            outside = np.concatenate([bend, np.column_stack([flat_x, np.full(fine.flat, height + layer_m)])])
        air = _triangulate(surface, outside, np.linspace(0.0, 1.0, fine.air + 1) ** 1.7)
        self.vapour = VAPOUR_M2_S * _surface_matrix(air)
        self.surface_m, self.wall_m = float(along[-1]), float(flat_x[-1])
        self.volume = self._weigh(lambda x, _: np.ones(x.shape))

    def start(self, saturations: tuple[float, ...]) -> Floats:
        """Saturation of each node with each coat at its own [-]."""

        def fresh(x: Floats, y: Floats) -> Floats:
            value = np.full(x.shape, saturations[-1])
            for height, saturation in zip(self.heights[-2::-1], saturations[-2::-1], strict=True):
                value[self._below(height, x, y)] = saturation
            return value

        return np.asarray(self._weigh(fresh) / self.volume)

    def beyond_flat(self) -> Floats:
        """Weights of the nodes for the slurry beyond the flat coat's line [m²]."""
        return self._weigh(lambda x, y: (y > self.heights[-1]).astype(np.float64))

    def under_fillet(self, newest_only: bool) -> Floats:
        """Weights of the nodes for all under the fillet, or for its newest coat [m²]."""

        def inside(x: Floats, y: Floats) -> Floats:
            under = (x < self.tangent_x).astype(np.float64)
            if newest_only and self.heights.size > 1:
                under[self._below(self.heights[-2], x, y)] = 0.0
            return under

        return self._weigh(inside)

    def hours_to(
        self, slurry: Slurry, start: Floats, weights: Floats, brought: float, limits: tuple[float, ...]
    ) -> tuple[float, ...]:
        """Hours until weighted water above equilibrium is down to each limit of what was brought [m²]."""
        nodes, skin, b = start.size, self.shell.outer, slurry.exponent
        stiff = slurry.diffusivity * FULL_KG_M3 * self.shell.stiffness
        water = self.volume * FULL_KG_M3
        heat = WAX_J_M2K * self.wall_m
        gain = AIR_LAYER_W_MK / VAPOUR_M2_S * float(self.vapour.sum()) + RADIATION_W_M2K * self.surface_m
        air = float(saturation_density_kg_m3(AIR_C)) * RH_PCT / 100.0
        latent = float(latent_heat_j_kg(AIR_C - 5.0))
        dry = equilibrium_saturation(RH_PCT)

        def density(temp: float) -> float:
            return float(saturation_density_kg_m3(temp))

        def activity(saturation: Floats) -> tuple[Floats, Floats]:
            dryness = np.maximum(1.0 - saturation / SORPTION_LIMIT, 0.0)
            slope = SORPTION_POWER / SORPTION_LIMIT * dryness ** (SORPTION_POWER - 1.0)
            return 1.0 - dryness**SORPTION_POWER, slope

        def rate(_: float, state: Floats) -> Floats:
            saturation, temp = state[:-1], float(state[-1])
            flow = -(stiff @ (np.expm1(b * saturation) / b))
            leaving = self.vapour @ (activity(saturation[skin])[0] * density(temp) - air)
            flow[skin] -= leaving
            return np.append(flow / water, (gain * (AIR_C - temp) - latent * leaving.sum()) / heat)

        def jacobian(_: float, state: Floats) -> Any:
            saturation, temp = state[:-1], float(state[-1])
            inside = (-stiff @ sparse.diags_array(np.exp(b * saturation))).tocoo()
            wet, slope = activity(saturation[skin])
            by_water = self.vapour * (slope * density(temp))
            by_heat = self.vapour @ wet * (density(temp + 0.01) - density(temp - 0.01)) / 0.02
            row, column = (each.ravel() for each in np.meshgrid(skin, skin, indexing="ij"))
            end = np.full(skin.size, nodes)
            rows = np.concatenate([inside.row, row, skin, end, [nodes]])
            columns = np.concatenate([inside.col, column, end, skin, [nodes]])
            warming = -latent * by_water.sum(axis=0)
            last = [-gain - latent * by_heat.sum()]
            values = np.concatenate([inside.data, -by_water.ravel(), -by_heat, warming, last])
            scale = np.append(1.0 / water, 1.0 / heat)
            return sparse.csc_array((values * scale[rows], (rows, columns)), shape=(nodes + 1, nodes + 1))

        def left(state: Floats) -> Any:
            return weights @ (state[:-1] - dry) / brought

        def done(_: float, state: Floats) -> Any:
            return left(state) - limits[-1]

        done.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(
            rate,
            (0.0, 1.5e6),
            np.append(start, AIR_C),
            method="BDF",
            jac=jacobian,
            rtol=1e-4,
            atol=1e-5,
            first_step=1e-3,
            dense_output=True,
            events=done,
        )
        assert found.status == 1, found.message
        assert found.sol is not None
        times = np.geomspace(10.0, found.t[-1], 4000)
        course = np.array([left(state) for state in np.asarray(found.sol(times)).T])
        return tuple(
            math.exp(np.interp(-math.log(limit), -np.log(course), np.log(times))) / 3600.0 for limit in limits
        )

    def _below(self, height: float, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Whether points lie in the shell of the coats up to that height."""
        tangent = (height + self.fillet_m) / math.tan(self.half)
        outside_arc = np.hypot(x - tangent, y - height - self.fillet_m) >= self.fillet_m
        return np.asarray(np.where(x >= tangent, y <= height, outside_arc), dtype=np.bool_)

    def _weigh(self, value: Callable[[Floats, Floats], Floats]) -> Floats:
        """∫ value(x, y) N dA of each node's hat function N, by the middles of 64 small triangles in each."""
        side = 8
        up = [(i + 1 / 3, j + 1 / 3) for i in range(side) for j in range(side - i)]
        down = [(i + 2 / 3, j + 2 / 3) for i in range(side - 1) for j in range(side - 1 - i)]
        middle = np.array(up + down) / side
        hats = np.column_stack([1.0 - middle.sum(axis=1), middle])
        places = np.einsum("qk,tkd->tqd", hats, self.shell.points[self.shell.corners])
        x, y = places[..., 0], places[..., 1]
        parts = np.einsum("tq,qk->tk", value(x, y), hats) * (self.shell.areas / len(hats))[:, None]
        size = len(self.shell.points)
        return np.bincount(self.shell.corners.ravel(), parts.ravel(), size).astype(np.float64)


def _triangulate(first: Floats, second: Floats, shares: Floats) -> _Triangles:
    """Triangles between two lines of points, at shares of the way from the first to the second."""
    grid = first[:, None] + (second - first)[:, None] * shares[None, :, None]
    count, layers = grid.shape[:2]
    number = np.arange(count * layers).reshape(count, layers)
    points = grid.reshape(-1, 2)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    halves = [[a, b, c], [a, c, d]]
    corners = np.concatenate([np.stack([e.ravel() for e in half], axis=1) for half in halves])
    at = points[corners]
    sides = np.stack([at[:, 2] - at[:, 1], at[:, 0] - at[:, 2], at[:, 1] - at[:, 0]], axis=1)
    signed = 0.5 * (sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0])
    assert signed.min() * signed.max() >= -1e-24, "triangles fold over"
    real = np.abs(signed) > 1e-15
    corners, sides, areas = corners[real], sides[real], np.abs(signed[real])
    local = np.einsum("tid,tjd->tij", sides, sides) / (4.0 * areas)[:, None, None]
    rows, columns = np.repeat(corners, 3, axis=1).ravel(), np.tile(corners, (1, 3)).ravel()
    stiffness = sparse.csr_array((local.ravel(), (rows, columns)), shape=(len(points), len(points)))
    return _Triangles(points, corners, areas, stiffness, number[:, 0], number[:, -1])


def _surface_matrix(air: _Triangles) -> Floats:
    """What leaves each node of the surface for a unit of vapour at each, none at the layer's outside [-]."""
    free = np.setdiff1d(np.arange(len(air.points)), np.concatenate([air.outer, air.inner]))
    from_free = air.stiffness[free]
    at_surface = from_free[:, air.outer].toarray()
    inside = splu(from_free[:, free].tocsc()).solve(at_surface)
    own = air.stiffness[air.outer]
    return np.asarray(own[:, air.outer].toarray() - own[:, free] @ inside)
