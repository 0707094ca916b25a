"""The solver's steps and a face's cells against CVODE at 1e-8 on fine cells (scikit-sundae)."""

import pytest

from tests.drying.checks import tight
from tests.drying.checks.row import Row
from tests.drying.cvode_reference import needs_cvode


def held(row: Row) -> None:
    print(f"{row.line}, {row.case}: {row.got} of {row.wanted}, within {row.bound}")
    assert row.passed, row


@pytest.mark.parametrize("name", tight.FACES | tight.JOINTS)
def test_steps(name: str) -> None:
    needs_cvode()
    held(tight.step_row(name))


@pytest.mark.slow
@pytest.mark.parametrize("name", tight.CELL_CASES)
def test_cells(name: str) -> None:
    needs_cvode()
    held(tight.cell_row(name))
