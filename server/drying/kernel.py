"""The solver: water through the cells of one spot, out of its surface, and the heat that goes with it.

Several lanes (members, or columns of a face) share one network of cells and one step, and are solved
together; spots never are, so that a spot's numbers depend on nothing but its own calls.

Unknowns of a lane: the potential φ at each station's surface, the saturation S of each cell, the
temperature T.

    cell      capacity dS/dt = Σ g (φ_neighbour − φ)              φ = (exp(b S) − 1) / b
    surface   0 = g (φ_cell − φ_surface) − E,   E = K ψ           ψ = a_w(S_surface) ρ_sat(T) − ρ_air
    heat      C dT/dt = H (T_air − T) + H_r (T_air − T) − L Σ E

φ is a Kirchhoff potential: diffusivity D0 exp(b S) integrated over S. All coats share b, so φ, S and the
water activity are continuous from coat to coat, and a coat enters by its own g only. The surface is a
massless unknown half a cell out: without it the time to dry comes out 10 to 18 % short at four cells a coat.

Time: the two-stage Rosenbrock method ROS2 (Verwer, Spee, Blom & Hundsdorfer, SIAM J. Sci. Comput. 20 (1999)
1456, γ = 1 − 1/√2, from memory): L-stable, so that a surface that is not yet consistent is so a step later;
one factorisation and two solves a step, the first stage gives the error. Whatever the step, water is
conserved to rounding, for the method keeps linear invariants.

This is the solver in NumPy. Where Numba is installed, its twin in `quick_step` takes the same steps, to
rounding, in compiled code.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.blas import dgbmv
from scipy.linalg.lapack import dgbtrf, dgbtrs

from server.drying import kernel_choice
from server.drying.medium import LINEAR_EXPONENT, saturation_log
from server.drying.medium import Medium as Medium
from server.drying.medium import Surroundings as Surroundings
from server.drying.medium import Wetness as Wetness
from server.drying.medium import potential as potential
from server.drying.skin import Skin, SkinSolver

Floats = NDArray[np.float64]

GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
FIRST_STEP_S = 0.5
LONGEST_STEP_S = 600.0
SHORTEST_STEP_S = 1e-7
MOST_GROWTH = 4.0
TOLERANCE_KG_M3 = 0.04
TOLERANCE_K = 0.008
_MOST_FLOWS = 8


class DryingError(ArithmeticError):
    """The solver found no step that it could take."""


class Solver:
    """Advances the wetness of one spot through its medium."""

    def __init__(self, medium: Medium, tolerance: float = TOLERANCE_KG_M3) -> None:
        """`tolerance` is the error allowed a step in a cell's water [kg/m³]; the temperature's follows it."""
        self.medium = medium
        self.scale = medium.saturation_kg_m3 / tolerance
        self.warmth = TOLERANCE_KG_M3 / (tolerance * TOLERANCE_K)
        network = medium.network
        self.lanes, self.cells = int(medium.capacity.shape[0]), network.cells
        self.stations = network.stations
        self.unknowns = self.stations + self.cells
        self.surface_cells = network.station_cell + self.stations
        self.exponent = np.maximum(medium.exponent, LINEAR_EXPONENT)[:, None]
        self.skin = SkinSolver(medium)
        ends_a = np.concatenate([network.link_outer + self.stations, np.arange(self.stations)])
        ends_b = np.concatenate([network.link_inner, network.station_cell]) + self.stations
        self.band = max(int(np.abs(ends_a - ends_b).max()), self.stations - 1)
        self.rows = 3 * self.band + 1
        self.diagonal = 2 * self.band
        self.columns = self.lanes * self.unknowns
        # A conductance enters the matrix four times: at both ends' diagonals, and off them with a minus.
        rows = np.concatenate([ends_a, ends_b, ends_a, ends_b])
        cols = np.concatenate([ends_a, ends_b, ends_b, ends_a])
        self.entries = self._places(rows, cols)
        station = np.arange(self.stations)
        self.vapour_entries = self._places(np.repeat(station, self.stations), np.tile(station, self.stations))
        self.hindered = np.flatnonzero((medium.link_inward != medium.link).any(axis=0))
        self.hindered_outer = network.link_outer[self.hindered]
        self.hindered_inner = network.link_inner[self.hindered]
        self.flow_bands: dict[bytes, tuple[Floats, Floats]] = {}
        self.quick_parts: Any = None
        self.quick_place: Any = None
        """What the quick kernel has made of the medium, and of what is between the spot and the air."""

    def _places(self, rows: NDArray[np.int64], cols: NDArray[np.int64]) -> NDArray[np.int64]:
        """Where entries of a lane's matrix lie in the flat band of all lanes, (L, entries)."""
        lane = np.arange(self.lanes)[:, None]
        return np.asarray((lane * self.unknowns + cols) * self.rows + self.diagonal + rows - cols)

    def _flow(self, phi: Floats) -> tuple[Floats, Floats]:
        """The flow matrix for the way water moves now: in the factor's layout, and in the product's."""
        inward = phi[:, self.hindered_outer] > phi[:, self.hindered_inner]
        key = inward.tobytes()
        found = self.flow_bands.get(key)
        if found is None:
            links = self.medium.link.copy()
            links[:, self.hindered] = np.where(
                inward, self.medium.link_inward[:, self.hindered], links[:, self.hindered]
            )
            each = np.concatenate([links, self.medium.surface], axis=1)
            weights = np.concatenate([each, each, -each, -each], axis=1)
            size = self.columns * self.rows
            counted: Floats = np.bincount(self.entries.ravel(), weights.ravel(), size).astype(np.float64)
            full = counted.reshape(self.columns, self.rows)
            found = (full, np.ascontiguousarray(full[:, self.band :]))
            if len(self.flow_bands) >= _MOST_FLOWS:
                self.flow_bands.clear()
            self.flow_bands[key] = found
        return found

    def activity(self, surface: Floats) -> Floats:
        """Water activity (L, s) of surfaces at that potential [-]."""
        return self.skin.activity(surface)[0]

    def settle(self, state: Wetness, around: Surroundings) -> Wetness:
        """The same state with its surfaces consistent with the air: diffusion out equals evaporation."""
        below = potential(state.saturation[:, self.medium.network.station_cell], self.medium.exponent)
        density = np.exp(saturation_log(state.temp_c, around)[0])
        surface = self.skin.settled(state.surface, below, density, around).surface
        return Wetness(state.saturation, surface, state.temp_c, state.evaporated, state.step_s)

    def evaporation(self, state: Wetness, around: Surroundings) -> Floats:
        """Water leaving each station [kg/s per unit], (L, s)."""
        density = np.exp(saturation_log(state.temp_c, around)[0])[:, None]
        excess = self.skin.activity(state.surface)[0] * density - around.air_vapour[:, None]
        return np.asarray((around.vapour @ excess[:, :, None])[:, :, 0])

    def advance(self, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
        """The state that many seconds later.

        Raises DryingError where no step is small enough, which a sound spot never comes to.
        """
        quick = kernel_choice.quick()
        if quick is not None:
            reached: Wetness = quick.advance(self, state, around, seconds)
            return reached
        return self.advance_by_numpy(state, around, seconds)

    def advance_by_numpy(self, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
        """The same by the twin in NumPy, whichever kernel is in use."""
        # A trial step that is far too long may overflow: it is then refused for its error.
        with np.errstate(over="ignore", invalid="ignore"):
            return self._advance(state, around, seconds)

    def _advance(self, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
        values = np.concatenate([state.surface, state.saturation], axis=1)
        temp, evaporated, proposal = state.temp_c, state.evaporated, state.step_s
        done, most = 0.0, MOST_GROWTH
        while seconds - done > 1e-9 * seconds:
            left = seconds - done
            # Two even steps rather than one long and one tiny one.
            step = left if proposal >= left else min(proposal, 0.5 * left)
            moved = self._try(values, temp, around, step)
            error = max(
                float((np.abs(moved.error[:, self.stations :]) * self.scale).max()),
                float(np.abs(moved.temp_error).max()) * self.warmth,
            )
            if not error <= 1.0:  # NaN too
                proposal = step * (max(0.2, 0.9 / math.sqrt(error)) if math.isfinite(error) else 0.2)
                if proposal < SHORTEST_STEP_S:
                    raise DryingError(
                        f"no step of {SHORTEST_STEP_S:g} s or more follows the water: error {error:g}"
                    )
                most = 1.0
                continue
            values, temp, evaporated = moved.values, moved.temp_c, evaporated + moved.evaporated
            done += step
            # A step that was refused stood before a kink: growing at once, the next is refused as well.
            grown = step * min(most, 0.9 / math.sqrt(max(error, 1e-6)))
            # A step cut short by the end says little: do not let it shrink the proposal.
            proposal = min(LONGEST_STEP_S, max(grown, proposal) if step < proposal else grown)
            most = MOST_GROWTH
        surface, saturation = values[:, : self.stations], values[:, self.stations :]
        return Wetness(saturation.copy(), surface.copy(), temp, evaporated, proposal)

    def _try(self, values: Floats, temp: Floats, around: Surroundings, step: float) -> "_Moved":
        """One step of ROS2."""
        medium, stations, shape = self.medium, self.stations, values.shape
        phi = values.copy()
        rise = np.ones(shape)
        scaled = self.exponent * values[:, stations:]
        phi[:, stations:] = np.expm1(scaled) / self.exponent
        rise[:, stations:] = np.exp(scaled)
        flow, product = self._flow(phi[:, stations:])
        rate = 1.0 / (GAMMA * step)

        logs, log_slope = saturation_log(temp, around)
        density = np.exp(logs)
        skin = self.skin.settled(values[:, :stations], phi[:, self.surface_cells], density, around)
        phi[:, :stations] = skin.surface
        values = values.copy()
        values[:, :stations] = skin.surface
        warm = skin.activity * (density * log_slope)[:, None]
        leaving_wet = skin.wet
        leaving_warm = (around.vapour @ warm[:, :, None])[:, :, 0]
        conductance = around.convection + around.radiation

        factor = flow * rise.reshape(-1, 1)
        factor.reshape(shape[0], shape[1], -1)[:, stations:, self.diagonal] += medium.capacity * rate
        factor.ravel()[self.vapour_entries] += leaving_wet.reshape(self.lanes, -1)
        lu, pivots, trouble = dgbtrf(factor.T, self.band, self.band, overwrite_ab=1)
        if trouble:
            return _Moved(values, temp, temp, np.full(shape, np.nan), temp)

        latent = around.latent_heat
        heat_wet = latent[:, None] * leaving_wet.sum(axis=1)
        heat_warm = medium.heat * rate + conductance + latent * leaving_warm.sum(axis=1)

        def imbalance(phi: Floats, skin: Skin, temp: Floats) -> tuple[Floats, Floats]:
            """What flows into each unknown [kg/s] and into the heat [W]."""
            into = -dgbmv(
                self.columns, self.columns, self.band, self.band, 1.0, product.T, phi.ravel()
            ).reshape(shape)
            into[:, :stations] = skin.excess
            warming = conductance * (around.air_temp_c - temp) - latent * skin.out.sum(axis=1)
            return into, warming

        into, warming = imbalance(phi, skin, temp)
        sides = np.zeros((2, *shape))
        sides[0] = into
        sides[1, :, :stations] = leaving_warm
        solved = dgbtrs(lu, self.band, self.band, sides.reshape(2, -1).T, pivots)[0].T.reshape(2, *shape)
        border = solved[1]
        pivot = heat_warm - (heat_wet * border[:, :stations]).sum(axis=1)
        temp_1 = (warming - (heat_wet * solved[0, :, :stations]).sum(axis=1)) / pivot
        move_1 = solved[0] - border * temp_1[:, None]
        out_1 = skin.out.sum(axis=1) + (leaving_wet @ move_1[:, :stations, None])[:, :, 0].sum(axis=1)
        out_1 += leaving_warm.sum(axis=1) * temp_1

        middle, middle_temp = values + move_1 / GAMMA, temp + temp_1 / GAMMA
        phi[:, stations:] = np.expm1(self.exponent * middle[:, stations:]) / self.exponent
        density = np.exp(saturation_log(middle_temp, around)[0])
        guess = np.maximum(middle[:, :stations], 0.0)
        skin = self.skin.settled(guess, phi[:, self.surface_cells], density, around)
        phi[:, :stations] = skin.surface
        into, warming = imbalance(phi, skin, middle_temp)
        into[:, stations:] -= (2.0 * rate) * medium.capacity * move_1[:, stations:]
        warming -= (2.0 * rate) * medium.heat * temp_1
        solved_2 = dgbtrs(lu, self.band, self.band, into.reshape(-1), pivots)[0].reshape(shape)
        temp_2 = (warming - (heat_wet * solved_2[:, :stations]).sum(axis=1)) / pivot
        move_2 = solved_2 - border * temp_2[:, None]
        out_2 = skin.out.sum(axis=1) + (leaving_wet @ move_2[:, :stations, None])[:, :, 0].sum(axis=1)
        out_2 += leaving_warm.sum(axis=1) * temp_2
        return _Moved(
            values + (1.5 * move_1 + 0.5 * move_2) / GAMMA,
            temp + (1.5 * temp_1 + 0.5 * temp_2) / GAMMA,
            (0.5 / GAMMA) * (temp_1 + temp_2),
            (0.5 / GAMMA) * (move_1 + move_2),
            (0.5 * step) * (out_1 + out_2),
        )


@dataclass(frozen=True, eq=False)
class _Moved:
    """What one step came to."""

    values: Floats
    temp_c: Floats
    temp_error: Floats
    error: Floats
    evaporated: Floats
