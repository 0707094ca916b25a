"""The command `slowcorner what-if`."""

import json

import pytest
from typer.testing import CliRunner

from server.cli import app

RUNNER = CliRunner()


def test_it_prints_a_row_a_change_as_json() -> None:
    words = ["what-if", "--kind", "backup", "--layer", "5", "--spot", "joint:50", "--members", "1", "--json"]
    result = RUNNER.invoke(app, words)
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    rows = {row["change"]: row for row in found["changes"]}
    assert list(rows) == ["fan", "drier", "warmer", "joint:60", "joint:90"]
    for row in rows.values():
        saved = row["saved_s"]
        assert 0.0 < saved["p10"] <= saved["p50"] <= saved["p90"]
        assert row["refused"] is None
    assert "carbon monoxide" in found["notes"][0]


def test_several_members_say_a_spread() -> None:
    words = ["what-if", "--kind", "backup", "--layer", "4", "--spot", "joint:50", "--members", "8", "--json"]
    result = RUNNER.invoke(app, words)
    assert result.exit_code == 0, result.stderr
    found = json.loads(result.stdout)
    as_it_is = found["fit_after_s"]
    assert as_it_is["p10"] < as_it_is["p50"] < as_it_is["p90"]
    for row in found["changes"]:
        saved = row["saved_s"]
        assert saved["p10"] <= saved["p50"] <= saved["p90"]
    opened = next(row for row in found["changes"] if row["change"] == "joint:90")
    assert opened["saved_s"]["p50"] > 0.0


def test_a_table_says_why_something_is_not_tried() -> None:
    result = RUNNER.invoke(app, ["what-if", "--kind", "prime", "--spot", "face"], env={"COLUMNS": "200"})
    assert result.exit_code == 0, result.stderr
    assert "Never on a prime coat" in result.stdout
    assert "As it is: fit after" in result.stdout


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (("--spot", "joint:0"), "joint angle 0°"),
        (("--rh", "120"), "relative humidity 120 % is outside 0 to 100 %"),
        (("--air-temp", "nan"), "nan"),
    ],
)
def test_it_names_what_is_off(words: tuple[str, ...], fault: str) -> None:
    result = RUNNER.invoke(app, ["what-if", *words])
    assert result.exit_code == 1
    assert fault in result.stderr
    assert result.stdout == ""
