"""The table of checks, row by row, and the command that prints it."""

import pytest

from tests.drying.checks.__main__ import main
from tests.drying.checks.row import at_most, between, law, near
from tests.drying.checks.table import LINES
from tests.drying.cvode_reference import needs_cvode

QUICK = ["moist air", "moist air as a real gas", "constant-rate period", "pocket", "open pan", "mass"]
QUICK += [
    "slab with a film, sealed behind",
    "joint factor F and fillet geometry",
    "the published shell trial",
]
LONG = ["a whole joint strip", "steps in time", "mesh"]
# The rows of the limits are tests themselves.
TESTS = ["limits"]


def test_no_line_is_forgotten() -> None:
    assert sorted(QUICK + LONG + TESTS) == sorted(LINES)


@pytest.mark.parametrize("name", QUICK)
def test_every_row_passes(name: str) -> None:
    rows = list(LINES[name]())
    assert rows or name == "moist air as a real gas"
    assert [row for row in rows if not row.passed] == []


@pytest.mark.slow
@pytest.mark.parametrize("name", LONG)
def test_every_row_that_takes_long_passes(name: str) -> None:
    needs_cvode()
    rows = list(LINES[name]())
    assert rows
    assert [row for row in rows if not row.passed] == []


def test_a_law_that_is_broken_is_a_row_that_fails() -> None:
    def broken() -> None:
        raise AssertionError("water was made")

    assert law("limits", "mass", "", broken).got == "water was made"
    assert not law("limits", "mass", "", broken).passed
    assert law("limits", "mass", "", lambda: None).passed


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
