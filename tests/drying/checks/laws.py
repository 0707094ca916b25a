"""Laws that hold for whatever they are tried on, and the balance of water."""

import inspect
from collections.abc import Iterator

import numpy as np

from sensors.humid_air import saturation_density_kg_m3
from server.drying.kernel import Solver
from server.drying.medium import Wetness
from tests.drying import test_laws_of_members, test_limits
from tests.drying.checks.row import Row, at_most, law
from tests.drying.columns import column, evenly_wet, surroundings, water

TRIED = "property test (hypothesis)"
DRAWN = "the balance itself, 40 drawn columns"

_COLUMNS = 40


def limits() -> Iterator[Row]:
    """Every test of `test_limits` and `test_laws_of_members` that needs nothing given, by its name."""
    for module in (test_limits, test_laws_of_members):
        for name, test in inspect.getmembers(module, inspect.isfunction):
            if name.startswith("test_") and not inspect.signature(test).parameters:
                yield law("limits", name.removeprefix("test_").replace("_", " "), TRIED, test)


def mass() -> Iterator[Row]:
    """Water in = water left + water evaporated, over what there was; the worst of many columns."""
    draw = np.random.default_rng(3)
    yield at_most("mass", "sealed columns", max(_sealed(draw) for _ in range(_COLUMNS)), 1e-10, DRAWN)
    yield at_most("mass", "open columns", max(_opened(draw) for _ in range(_COLUMNS)), 1e-6, DRAWN)


def _sealed(draw: np.random.Generator) -> float:
    """Water that a sealed column of uneven cells gained or lost, over what it had [-]."""
    medium = column(6, diffusivity_m2_s=10.0 ** draw.uniform(-11, -7), exponent=draw.uniform(0.0, 6.0))
    none = surroundings(0.0, 0.0, 20.0, 0.0, np.array([20.0]), latent=0.0)
    even, solver = evenly_wet(medium, 0.5, 20.0), Solver(medium)
    uneven = Wetness(draw.uniform(0.0, 1.2, (1, 6)), even.surface, even.temp_c, even.evaporated, even.step_s)
    after = solver.advance(solver.settle(uneven, none), none, 10.0 ** draw.uniform(0.0, 5.0))
    return abs(water(medium, after) / water(medium, uneven) - 1.0)


def _opened(draw: np.random.Generator) -> float:
    """What an open column lost and did not evaporate, over what it had [-]."""
    medium = column(5, diffusivity_m2_s=10.0 ** draw.uniform(-11, -7), exponent=draw.uniform(0.0, 6.0))
    solver, state = Solver(medium), evenly_wet(medium, draw.uniform(0.1, 1.2), 20.0)
    transfer = 10.0 ** draw.uniform(-4.0, -0.7)
    vapour = draw.uniform(0.0, 0.9) * float(saturation_density_kg_m3(20.0))
    around = surroundings(transfer, 1100.0 * transfer, 20.0, vapour, state.temp_c)
    after = solver.advance(state, around, 10.0 ** draw.uniform(1.0, 5.0))
    before = water(medium, state)
    return abs(water(medium, after) + float(after.evaporated[0]) - before) / before
