"""The steps of the solver in NumPy, where there is no Numba: twin of `quick_time` and `quick_step`."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.blas import dgbmv
from scipy.linalg.lapack import dgbtrf, dgbtrs

from server.drying.kernel import (
    LEAST_SATURATION,
    LONGEST_STEP_S,
    MOST_GROWTH,
    SHORTEST_STEP_S,
    TURNED_SHARE,
    DryingError,
    Solver,
)
from server.drying.medium import Surroundings, Wetness, saturation_log
from server.drying.rosenbrock import C21, C31, C32, E1, E2, E3, ERROR_POWER, GAMMA, M1, M2, M3
from server.drying.skin import Skin

Floats = NDArray[np.float64]

_MOST_FLOWS = 8


@dataclass(frozen=True, eq=False)
class _Moved:
    """What one step came to."""

    values: Floats
    temp_c: Floats
    temp_error: Floats
    error: Floats
    evaporated: Floats


class NumpySteps:
    """Steps a solver's medium; all lanes are one banded system."""

    def __init__(self, solver: Solver) -> None:
        self.medium, self.skin = solver.medium, solver.skin
        self.exponent, self.scale, self.warmth = solver.exponent, solver.scale, solver.warmth
        self.lanes, self.stations = solver.lanes, solver.stations
        network = solver.medium.network
        self.unknowns = self.stations + solver.cells
        self.surface_cells = network.station_cell + self.stations
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
        self.hindered = np.flatnonzero((self.medium.link_inward != self.medium.link).any(axis=0))
        self.hindered_outer = network.link_outer[self.hindered]
        self.hindered_inner = network.link_inner[self.hindered]
        self.flow_bands: dict[bytes, tuple[Floats, Floats]] = {}

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

    def advance(self, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
        """What `Solver.advance` is to do."""
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
                float((moved.error * self.scale).max()),
                float(np.abs(moved.temp_error).max()) * self.warmth,
                below_nothing(moved.values[:, self.stations :]),
            )
            if not error <= 1.0:  # NaN too
                proposal = step * (max(0.2, 0.9 / error**ERROR_POWER) if math.isfinite(error) else 0.2)
                if proposal < SHORTEST_STEP_S:
                    raise DryingError(
                        f"no step of {SHORTEST_STEP_S:g} s or more follows the water: error {error:g}"
                    )
                most = 1.0
                continue
            values, temp, evaporated = moved.values, moved.temp_c, evaporated + moved.evaporated
            done += step
            # A step that was refused stood before a kink: growing at once, the next is refused as well.
            grown = step * min(most, 0.9 / max(error, 1e-6) ** ERROR_POWER)
            # A step cut short by the end says little: do not let it shrink the proposal.
            proposal = min(LONGEST_STEP_S, max(grown, proposal) if step < proposal else grown)
            most = MOST_GROWTH
        surface, saturation = values[:, : self.stations], values[:, self.stations :]
        return Wetness(saturation.copy(), surface.copy(), temp, evaporated, proposal)

    def _try(self, values: Floats, temp: Floats, around: Surroundings, step: float) -> _Moved:
        """One step."""
        medium, stations, shape = self.medium, self.stations, values.shape
        began = np.expm1(self.exponent * values[:, stations:]) / self.exponent
        phi = values.copy()
        rise = np.ones(shape)
        phi[:, stations:] = began
        rise[:, stations:] = 1.0 + self.exponent * began
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
            return _Moved(values, temp, temp, np.full(began.shape, np.nan), temp)

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

        def moved(solved: Floats, warming: Floats) -> tuple[Floats, Floats]:
            """A stage of unknowns and temperature, of what the elimination gives for its side."""
            warmer = (warming - (heat_wet * solved[:, :stations]).sum(axis=1)) / pivot
            return solved - border * warmer[:, None], warmer

        def leaves(skin: Skin, move: Floats, warmer: Floats) -> Floats:
            """What evaporates in a stage [kg/s]."""
            wetter = (leaving_wet @ move[:, :stations, None])[:, :, 0].sum(axis=1)
            return np.asarray(skin.out.sum(axis=1) + wetter + leaving_warm.sum(axis=1) * warmer)

        into, warming = imbalance(phi, skin, temp)
        sides = np.zeros((2, *shape))
        sides[0] = into
        sides[1, :, :stations] = leaving_warm
        solved = dgbtrs(lu, self.band, self.band, sides.reshape(2, -1).T, pivots)[0].T.reshape(2, *shape)
        border = solved[1]
        pivot = heat_warm - (heat_wet * border[:, :stations]).sum(axis=1)
        move_1, temp_1 = moved(solved[0], warming)
        out_1 = leaves(skin, move_1, temp_1)

        middle, middle_temp = values + move_1, temp + temp_1
        phi[:, stations:] = np.expm1(self.exponent * middle[:, stations:]) / self.exponent
        density = np.exp(saturation_log(middle_temp, around)[0])
        guess = np.maximum(middle[:, :stations], 0.0)
        skin = self.skin.settled(guess, phi[:, self.surface_cells], density, around)
        phi[:, :stations] = skin.surface
        into, warming = imbalance(phi, skin, middle_temp)
        capacity, heat = medium.capacity / step, medium.heat / step
        side = into.copy()
        side[:, stations:] += C21 * capacity * move_1[:, stations:]
        solved_2 = dgbtrs(lu, self.band, self.band, side.reshape(-1), pivots)[0].reshape(shape)
        move_2, temp_2 = moved(solved_2, warming + C21 * heat * temp_1)
        out_2 = leaves(skin, move_2, temp_2) + C21 * GAMMA * out_1

        side = into
        side[:, stations:] += capacity * (C31 * move_1[:, stations:] + C32 * move_2[:, stations:])
        solved_3 = dgbtrs(lu, self.band, self.band, side.reshape(-1), pivots)[0].reshape(shape)
        move_3, temp_3 = moved(solved_3, warming + heat * (C31 * temp_1 + C32 * temp_2))
        out_3 = leaves(skin, move_3, temp_3) + GAMMA * (C31 * out_1 + C32 * out_2)
        reached = values + (M1 * move_1 + M2 * move_2 + M3 * move_3)
        error = np.abs(E1 * move_1 + E2 * move_2 + E3 * move_3)[:, stations:]
        return _Moved(
            reached,
            temp + (M1 * temp_1 + M2 * temp_2 + M3 * temp_3),
            E1 * temp_1 + E2 * temp_2 + E3 * temp_3,
            np.maximum(error, self._astray(began, reached[:, stations:], step)),
            (GAMMA * step) * (M1 * out_1 + M2 * out_2 + M3 * out_3),
        )

    def _astray(self, began: Floats, reached: Floats, step: float) -> Floats:
        """What counts of the change of saturation (L, n) by water that turned round at a hindered link.

        began: φ at the start; reached: the saturations at the end. The step held the link to what it was at
        the start; φ is taken to have changed evenly.
        """
        ended = np.expm1(self.exponent * reached) / self.exponent
        before = began[:, self.hindered_outer] - began[:, self.hindered_inner]
        after = ended[:, self.hindered_outer] - ended[:, self.hindered_inner]
        turned = (before > 0.0) != (after > 0.0)
        beyond = np.abs(after)
        share = beyond / np.maximum(beyond + np.abs(before), 1e-300)
        held_back = self.medium.link[:, self.hindered] - self.medium.link_inward[:, self.hindered]
        water = np.where(turned, (TURNED_SHARE * 0.5 * step) * held_back * beyond * share, 0.0)
        worst = np.zeros(reached.shape[::-1])
        for cells in (self.hindered_outer, self.hindered_inner):
            np.maximum.at(worst, cells, water.T)
        return np.asarray(worst.T / self.medium.capacity)


def below_nothing(saturation: Floats) -> float:
    """The most that a cell is dried beyond nothing, over what is allowed; 0 where that is not exceeded."""
    least = float(saturation.min())
    return least / LEAST_SATURATION if least < LEAST_SATURATION else 0.0
