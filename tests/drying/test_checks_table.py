"""The table of checks, row by row, and the command that prints it."""

import pytest

from tests.drying.checks.__main__ import main
from tests.drying.checks.row import at_most, between, near
from tests.drying.checks.table import LINES
from tests.drying.cvode_reference import needs_cvode

# The limits, the mass, the joints and the tight reference have tests of their own for every row.
QUICK = ["moist air", "constant-rate period", "slab with a film, sealed behind", "pocket", "open pan"]
QUICK += ["joint factor F and fillet geometry", "the published shell trial"]


@pytest.mark.parametrize("name", QUICK)
def test_every_row_passes(name: str) -> None:
    rows = list(LINES[name]())
    assert rows
    for row in rows:
        assert row.passed, row


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in LINES if name not in QUICK])
def test_every_row_that_takes_long_passes(name: str) -> None:
    needs_cvode()
    rows = list(LINES[name]())
    assert rows
    assert [row for row in rows if not row.passed] == []


def test_the_command_prints_rows_and_says_by_its_exit_whether_all_pass(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["pocket"]) == 0
    said = capsys.readouterr().out
    assert "Stefan tube" in said
    assert "Geankoplis" in said
    assert said.rstrip().endswith("3 passed, 0 failed")
    wrong = near("pocket", "too much", 2.0, 1.0, "nowhere", share=0.5)
    monkeypatch.setitem(LINES, "pocket", lambda: iter([wrong]))
    assert main(["pocket"]) == 1
    assert "FAIL  too much: 2 (+100.00%)" in capsys.readouterr().out
    assert main(["no such line"]) == 2


def test_a_row_passes_within_its_bound_and_not_beyond() -> None:
    assert near("", "", 1.009, 1.0, "", share=0.01).passed
    assert not near("", "", 1.011, 1.0, "", share=0.01).passed
    assert near("", "", 9.96, 10.0, "", off=0.05).passed
    assert not near("", "", float("nan"), 10.0, "", off=0.05).passed
    assert between("", "", 2.0, 1.0, 3.0, "").passed
    assert not between("", "", 3.1, 1.0, 3.0, "").passed
    assert not at_most("", "", -2.0, 1.0, "").passed
