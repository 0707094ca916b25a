"""A drying joint in two dimensions by finite elements: not the strip's method, but the same equations.

Linear triangles (scikit-fem assembles them) on the section of the shell, water diffusing with D0 exp(b S), in
older coats more slowly inward than outward; linear triangles on the still layer of air, vapour diffusing
steadily from the surface to the layer's outside (its answer is a matrix from surface to surface); one
temperature. Nothing of the strip's geometry, conformal map or links is used. No triangle straddles two coats.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.integrate import solve_ivp
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriP0, ElementTriP1, LinearForm, MeshTri
from skfem.helpers import dot, grad

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

EVEN_SLOPE_1_M = 0.5
"""Slope of φ that counts as even [1/m]: a fresh coat's is some thousand. It moves a time by about 1 % at most
(set B at 30° on three inert coats, against no rounding off); at 10 it would be 25 %.
"""


@dataclass(frozen=True)
class Fineness:
    """Elements along the fillet's half and the flat, through the newest and each older coat, the air."""

    fillet: int = 24
    flat: int = 24
    newest: int = 18
    older: int = 10
    air: int = 28


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
        shares, coat_of_layer = self._through(surface, wall, fine)
        mesh, layer = _triangles(surface, wall, shares)
        self.coat = coat_of_layer[layer]
        self.nodes, self.skin = mesh.p.shape[1], np.arange(surface.shape[0]) * shares.shape[1]
        middle = mesh.p[:, mesh.t].mean(axis=1)
        self.in_fillet = middle[0] < self.tangent_x
        # In each coat, inward is square to the coat's own outside: square to the newest surface, water would
        # slip into the older coats along their slanting interfaces.
        own = self.heights[self.coat] + fillet_m
        away = np.array([middle[0] - own / math.tan(self.half), middle[1] - own])
        away = np.where(away[0] < 0.0, away, np.array([[0.0], [-1.0]]))
        self.basis = Basis(mesh, ElementTriP1(), quadrature=_many_points())
        linear, constant = (Basis(mesh, kind, intorder=1) for kind in (ElementTriP1(), ElementTriP0()))
        self.stiffness = _flow.assemble(linear).tocsr()
        inward = (away / np.hypot(*away))[:, :, None]
        # Triangle by triangle, the slope towards the wax times the area.
        self.inward = _slope.assemble(linear, constant, inward=inward).tocsr()
        self.areas = np.asarray(linear.dx.sum(axis=1))

        shift = np.array([height / math.tan(self.half), height])
        if fillet_m <= layer_m:  # the outside of the layer is two straight lines
            first = layer_m / math.tan(self.half)
            end = flat_x[-1] - shift[0]
            outside_x = first + (end - first) * along / along[-1]
            outside = np.column_stack([outside_x, np.full(outside_x.size, layer_m)]) + shift
        else:  # it bends round the fillet
            bend = centre - (fillet_m - layer_m) * np.column_stack([np.cos(rays), np.sin(rays)])
            outside = np.concatenate([bend, np.column_stack([flat_x, np.full(fine.flat, height + layer_m)])])
        self.vapour = VAPOUR_M2_S * _surface_matrix(
            surface, outside, np.linspace(0.0, 1.0, fine.air + 1) ** 1.7
        )
        self.surface_m, self.wall_m = float(along[-1]), float(flat_x[-1])
        self.volume = self._weigh(np.ones(self.coat.size))

    def start(self, saturations: tuple[float, ...]) -> Floats:
        """Saturation of each node with each coat at its own [-]."""
        return np.asarray(self._weigh(np.array(saturations)[self.coat]) / self.volume)

    def beyond_flat(self) -> Floats:
        """Weights of the nodes for the slurry beyond the flat coat's line [m²]."""
        return self._weigh(self.basis.global_coordinates()[1] > self.heights[-1])

    def under_fillet(self, newest_only: bool) -> Floats:
        """Weights of the nodes for all under the fillet, or for its newest coat [m²]."""
        newest = self.coat == self.heights.size - 1
        return self._weigh(self.in_fillet & newest if newest_only else self.in_fillet)

    def hours_to(
        self,
        slurry: Slurry,
        start: Floats,
        weights: Floats,
        brought: float,
        limits: tuple[float, ...],
        rewetting: float = 1.0,
    ) -> tuple[float, ...]:
        """Hours until weighted water above equilibrium is down to each limit of what was brought [m²].

        rewetting: how much more slowly water moves towards the wax in the older coats [-].
        """
        nodes, skin, b = start.size, self.skin, slurry.exponent
        ease = slurry.diffusivity * FULL_KG_M3
        stiff = ease * self.stiffness
        older = ease * (1.0 - 1.0 / rewetting) * (self.coat < self.heights.size - 1) / self.areas
        towards_wax, back = self.inward, self.inward.T.tocsr()
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
            phi = np.expm1(b * saturation) / b
            slope = towards_wax @ phi
            flow = -(stiff @ phi) + back @ (older * slope * _downhill(slope / self.areas))
            leaving = self.vapour @ (activity(saturation[skin])[0] * density(temp) - air)
            flow[skin] -= leaving
            return np.append(flow / water, (gain * (AIR_C - temp) - latent * leaving.sum()) / heat)

        def jacobian(_: float, state: Floats) -> Any:
            saturation, temp = state[:-1], float(state[-1])
            slowed = older * _downhill(towards_wax @ np.expm1(b * saturation) / (b * self.areas))
            spread = stiff - back @ sparse.diags_array(slowed) @ towards_wax
            inside = (-spread @ sparse.diags_array(np.exp(b * saturation))).tocoo()
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

    def _through(self, surface: Floats, wall: Floats, fine: Fineness) -> tuple[Floats, Ints]:
        """Where each line from surface to wall is cut [-], (lines, cuts), and the coat of each layer between.

        Fine at the surface and where the newest coat meets the one below.
        """
        coats = self.heights.size
        even = np.linspace(0.0, 1.0, fine.newest + 1)
        newest = even**2 if coats == 1 else 0.5 - 0.5 * np.cos(np.pi * even)
        below = np.linspace(0.0, 1.0, fine.older + 1) ** 1.5
        begin, parts, layers = np.zeros((len(surface), 1)), [np.zeros((len(surface), 1))], []
        for coat in range(coats - 1, -1, -1):
            end = self._crossing(self.heights[coat - 1], surface, wall) if coat else np.ones_like(begin)
            inside = (newest if coat == coats - 1 else below)[1:]
            parts.append(begin + (end - begin) * inside)
            layers += [coat] * inside.size
            begin = end
        return np.concatenate(parts, axis=1), np.array(layers)

    def _crossing(self, height: float, surface: Floats, wall: Floats) -> Floats:
        """How far down each line from surface to wall the coats up to that height begin [-], (lines, 1)."""
        low, high = np.zeros((len(surface), 1)), np.ones((len(surface), 1))
        for _ in range(50):
            middle = 0.5 * (low + high)
            x, y = (surface + (wall - surface) * middle).T
            below = self._below(height, x, y)[:, None]
            low, high = np.where(below, low, middle), np.where(below, middle, high)
        return high

    def _below(self, height: float, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Whether points lie in the shell of the coats up to that height."""
        tangent = (height + self.fillet_m) / math.tan(self.half)
        outside_arc = np.hypot(x - tangent, y - height - self.fillet_m) >= self.fillet_m
        return np.asarray(np.where(x >= tangent, y <= height, outside_arc), dtype=np.bool_)

    def _weigh(self, value: NDArray[Any]) -> Floats:
        """∫ value N dA of each node's hat function N, for values by triangle or by triangle and point."""
        each = np.broadcast_to(value.reshape(self.coat.size, -1), self.basis.dx.shape)
        return np.asarray(_load.assemble(self.basis, value=each.astype(np.float64)), dtype=np.float64)


def _downhill(slope_1_m: Floats) -> Floats:
    """1 where φ falls towards the wax, 0 where it rises; rounded off, for a jump costs thousands of steps."""
    return np.asarray(0.5 - 0.5 * np.tanh(slope_1_m / EVEN_SLOPE_1_M))


@BilinearForm  # type: ignore[untyped-decorator]
def _flow(u: Any, v: Any, _: Any) -> Any:
    return dot(grad(u), grad(v))


@BilinearForm  # type: ignore[untyped-decorator]
def _slope(u: Any, v: Any, w: Any) -> Any:
    return dot(grad(u), w.inward) * v


@LinearForm  # type: ignore[untyped-decorator]
def _load(v: Any, w: Any) -> Any:
    return w.value * v


def _many_points() -> tuple[Floats, Floats]:
    """The middles of 64 small triangles in the triangle of reference, for what jumps within a triangle."""
    side = 8
    up = [(i + 1 / 3, j + 1 / 3) for i in range(side) for j in range(side - i)]
    down = [(i + 2 / 3, j + 2 / 3) for i in range(side - 1) for j in range(side - 1 - i)]
    points = np.array(up + down).T / side
    return points, np.full(points.shape[1], 0.5 / points.shape[1])


def _triangles(first: Floats, second: Floats, shares: Floats) -> tuple[MeshTri, Ints]:
    """Triangles between two lines of points, cut at shares (lines, cuts) of the way; the layer of each."""
    grid = first[:, None] + (second - first)[:, None] * shares[:, :, None]
    number = np.arange(shares.size).reshape(shares.shape)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    corners = np.concatenate([np.stack([e.ravel() for e in half], axis=1) for half in ((a, b, c), (a, c, d))])
    layer = np.tile(np.arange(shares.shape[1] - 1), 2 * (len(first) - 1))
    return MeshTri(grid.reshape(-1, 2).T.copy(), corners.T.copy()), layer


def _surface_matrix(surface: Floats, outside: Floats, shares: Floats) -> Floats:
    """What leaves each node of the surface for a unit of vapour at each, none at the layer's outside [-]."""
    mesh, _ = _triangles(surface, outside, np.tile(shares, (len(surface), 1)))
    stiffness = _flow.assemble(Basis(mesh, ElementTriP1(), intorder=1)).tocsr()
    number = np.arange(mesh.p.shape[1]).reshape(len(surface), shares.size)
    outer, free = number[:, 0], number[:, 1:-1].ravel()
    at_surface = stiffness[free][:, outer].toarray()
    inside = splu(stiffness[free][:, free].tocsc()).solve(at_surface)
    own = stiffness[outer]
    return np.asarray(own[:, outer].toarray() - own[:, free] @ inside)
