"""Rows that are tests themselves: the figure is what the test prints, and passing is the test's own."""

import io
from collections.abc import Callable
from contextlib import redirect_stdout

from tests.drying.checks.row import Row


def shown(line: str, case: str, wanted: str, bound: str, source: str, test: Callable[[], None]) -> Row:
    """Run a test; `wanted` and `bound` say in words what it asserts."""
    said, passed = io.StringIO(), True
    with redirect_stdout(said):
        try:
            test()
        except AssertionError as broken:
            passed = False
            print(str(broken).strip().splitlines()[0] if str(broken).strip() else "broken")
    lines = said.getvalue().strip().splitlines()
    return Row(
        line, case, lines[-1] if lines else "holds" if passed else "broken", wanted, bound, source, passed
    )
