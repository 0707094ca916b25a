"""The quick kernel as the rest of the drying model calls it. Import it through `kernel_choice.quick` only."""

import numpy as np

from server.drying.kernel import DryingError, Solver
from server.drying.medium import Surroundings, Wetness
from server.drying.quick_matrix import fill
from server.drying.quick_parts import Parts, air_of, parts_of, values_of
from server.drying.quick_step import advance as step_through
from server.drying.quick_step import room_for


def advance(solver: Solver, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
    """What `Solver.advance` is to do."""
    parts = _parts(solver)
    values, temp, evaporated = values_of(state), state.temp_c.copy(), state.evaporated.copy()
    proposal = step_through(
        parts, air_of(around), room_for(parts), values, temp, evaporated, state.step_s, seconds
    )
    return _wetness(solver, values, temp, evaporated, proposal)


def _parts(solver: Solver) -> Parts:
    found: Parts | None = solver.quick_parts
    if found is None:
        found = parts_of(solver.medium, solver.scale, solver.warmth)
        fill(found.filled, solver.stations)
        solver.quick_parts = found
    return found


def _wetness(
    solver: Solver, values: np.ndarray, temp: np.ndarray, evaporated: np.ndarray, proposal: float
) -> Wetness:
    if proposal < 0.0:
        raise DryingError(f"no step of more than {-proposal:g} s follows the water")
    stations = solver.stations
    surface = np.ascontiguousarray(values[:stations].T)
    saturation = np.ascontiguousarray(values[stations:].T)
    return Wetness(saturation, surface, temp, evaporated, proposal)
