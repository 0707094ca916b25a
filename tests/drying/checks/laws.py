"""Laws that hold for whatever they are tried on, and the balance of water."""

import inspect
from collections.abc import Iterator

from tests.drying import test_kernel, test_limits
from tests.drying.checks.row import Row, law

TRIED = "property test (hypothesis)"


def limits() -> Iterator[Row]:
    """Every test of `test_limits`, by its name."""
    for name, test in inspect.getmembers(test_limits, inspect.isfunction):
        if name.startswith("test_") and not inspect.signature(test).parameters:
            yield law("limits", name.removeprefix("test_").replace("_", " "), TRIED, test)


def mass() -> Iterator[Row]:
    """Sealed and open columns, whatever the step."""
    made = test_kernel.TestBalance()
    sealed, opened = made.test_a_sealed_column_keeps_its_water, made.test_an_open_column_loses_what_evaporates
    yield law("mass", "sealed column, 1e-10 relative", TRIED, sealed)
    yield law("mass", "open column, 1e-6", TRIED, opened)
