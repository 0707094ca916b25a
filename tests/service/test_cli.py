"""The command line as a person or a script meets it: output, exit codes, and errors that name the fault."""

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sensors.clock import HOUR_MS, MINUTE_MS, format_time
from server.cli import app
from tests.service.records import START

HEADER = "time,place,temp_c,rh_pct"


def run(*words: str | Path, members: int = 1) -> Result:
    return CliRunner(env={"SLOWCORNER_MEMBERS": str(members)}).invoke(app, [str(word) for word in words])


def air_file(folder: Path, lines: list[str], header: str = HEADER) -> Path:
    path = folder / "air.csv"
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def hourly(hours: int, rh_pct: float = 45.0, skip: range = range(0)) -> list[str]:
    return [
        f"{format_time(START + hour * HOUR_MS)},room,21,{rh_pct}" for hour in range(hours) if hour not in skip
    ]


def coats_file(folder: Path, **changes: Any) -> Path:
    tree: dict[str, Any] = {
        "label": "Heron",
        "place": "room",
        "size_mm": 25,
        "spots": ["face", "joint:75"],
        "coats": [
            {"kind": "prime", "dipped_at": format_time(START)},
            {"kind": "backup", "dipped_at": format_time(START + 18 * HOUR_MS)},
        ],
    }
    path = folder / "coats.json"
    path.write_text(json.dumps({"trees": [tree | changes]}), encoding="utf-8")
    return path


def test_estimate_says_how_long_each_spot_takes_and_which_is_last() -> None:
    result = run(
        "estimate", "--json", "--spot", "face", "--spot", "joint:30", "--air-temp", "21", "--rh", "50"
    )
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    face, joint = found["spots"]
    assert (face["spot"], joint["spot"]) == ("face", "joint:30")
    assert found["slowest"] == "joint:30"
    assert found["fit_after_s"] == joint["fit_after_s"]
    assert joint["fit_after_s"]["p50"] > 2 * face["fit_after_s"]["p50"] > 3600
    assert face["water_left"][0] == [0.0, 1.0]
    assert [left for _, left in face["water_left"]] == sorted(
        (y for _, y in face["water_left"]), reverse=True
    )
    # Wet, it lies between the wet bulb of 21 °C and 50 %RH (14.4 °C, less what radiation brings) and the air.
    assert 14.0 < face["coldest_c"] < 18.0


def test_estimate_never_comes_fit_in_saturated_air() -> None:
    result = run("estimate", "--json", "--spot", "face", "--rh", "100")
    found = json.loads(result.stdout)
    assert found["fit_after_s"] == {"p10": None, "p50": None, "p90": None}
    assert "not within 14 days" in run("estimate", "--spot", "face", "--rh", "100").stdout


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (("--spot", "joint:0"), "joint angle 0° in 'joint:0' is outside 15° to 150°"),
        (("--spot", "joint:181"), "joint angle 181° in 'joint:181' is outside 15° to 150°"),
        (("--spot", "cavity:60x0.2,packed"), "cannot be judged"),
        (("--rh", "120"), "relative humidity 120 % is outside 0 to 100 %"),
        (("--air-temp", "nan"), "nan"),
        (("--size", "0"), "0 mm is outside"),
    ],
)
def test_estimate_names_what_is_off(words: tuple[str, ...], fault: str) -> None:
    result = run("estimate", *words)
    assert result.exit_code == 1
    assert fault in result.stderr
    assert result.stdout == ""


def test_replay_prints_an_object_a_coat(tmp_path: Path) -> None:
    result = run("replay", air_file(tmp_path, hourly(40)), coats_file(tmp_path), "--json")
    assert result.exit_code == 0, result.stderr
    first, second = (json.loads(line) for line in result.stdout.splitlines())
    assert (first["tree"], first["coat"], first["kind"]) == ("Heron", 1, "prime")
    assert first["dipped_at"] == format_time(START)
    assert first["slowest_spot"] == "joint:75"
    assert first["warnings"] == []
    assert first["fit_at"]["p10"] == first["fit_at"]["p50"] == first["fit_at"]["p90"]
    assert (
        format_time(START + HOUR_MS) < first["fit_at"]["p50"] < second["dipped_at"] < second["fit_at"]["p50"]
    )


def test_members_give_a_spread(tmp_path: Path) -> None:
    """One member, one time; several, percentiles that rise, of the tree's last spot by each member."""
    coats = coats_file(tmp_path, spots=["face"])
    for members in (1, 6):
        said = run("estimate", "--spot", "face", "--spot", "joint:75", "--json", members=members)
        found = json.loads(said.stdout)
        whole = found["fit_after_s"]
        for times in (whole, *(spot["fit_after_s"] for spot in found["spots"])):
            assert (times["p10"] < times["p50"] < times["p90"]) == (members > 1)
        assert all(whole["p90"] >= spot["fit_after_s"]["p90"] for spot in found["spots"])
        answer = run("replay", air_file(tmp_path, hourly(40)), coats, "--json", members=members)
        first = json.loads(answer.stdout.splitlines()[0])
        assert (first["fit_at"]["p10"] < first["fit_at"]["p90"]) == (members > 1)
    table = run("estimate", "--spot", "face", members=6).stdout
    assert " to " in table
    assert run("estimate", "--members", "0").exit_code == 2


def test_replay_as_of_hides_what_came_later(tmp_path: Path) -> None:
    air, coats = air_file(tmp_path, hourly(40)), coats_file(tmp_path)
    early = run("replay", air, coats, "--json", "--as-of", format_time(START + HOUR_MS))
    (only,) = (json.loads(line) for line in early.stdout.splitlines())
    assert (only["coat"], only["fit_at"]) == (1, None)
    zoneless = run("replay", air, coats, "--as-of", "2026-03-02T06:00")
    assert zoneless.exit_code == 1
    assert "has no zone" in zoneless.stderr


def test_replay_takes_a_gap_as_no_drying_and_says_so(tmp_path: Path) -> None:
    whole = run("replay", air_file(tmp_path, hourly(40)), coats_file(tmp_path), "--json")
    gappy = run("replay", air_file(tmp_path, hourly(40, skip=range(1, 5))), coats_file(tmp_path), "--json")
    before, after = (json.loads(result.stdout.splitlines()[0]) for result in (whole, gappy))
    assert after["fit_at"]["p50"] > before["fit_at"]["p50"]
    assert "The air was not known for 300 min" in after["warnings"][0]


@pytest.mark.parametrize(
    ("lines", "header", "fault"),
    [
        ([], HEADER, "air.csv"),
        (hourly(3), "time,place,temp_c", "rh_pct"),
        ([f"{format_time(START)},room,21,nan"], HEADER, "line 2"),
        ([f"{format_time(START)},room,70F,50"], HEADER, "line 2"),
        (["2026-03-02T06:00:00,room,21,50"], HEADER, "has no zone"),
        (list(reversed(hourly(3))), HEADER, "line 3"),
    ],
)
def test_replay_names_file_line_and_fault(tmp_path: Path, lines: list[str], header: str, fault: str) -> None:
    result = run("replay", air_file(tmp_path, lines, header), coats_file(tmp_path))
    assert result.exit_code == 1
    assert "air.csv" in result.stderr.replace("\n", "")
    assert fault in result.stderr.replace("\n", "")


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"place": "attic"}, "no air for place 'attic' (the air file has: room)"),
        ({"spots": ["joint:0"]}, "joint angle 0°"),
        ({"spots": []}, "trees.0.spots"),
        ({"coats": [{"kind": "glaze", "dipped_at": format_time(START)}]}, "trees.0.coats.0.kind"),
        ({"coats": [{"kind": "prime", "dipped_at": "2026-03-02T06:00:00"}]}, "timezone"),
        (
            {"coats": [{"kind": "prime", "dipped_at": format_time(START + at)} for at in (MINUTE_MS, 0)]},
            "coats go in order of time",
        ),
    ],
)
def test_replay_names_what_is_off_in_the_coats(tmp_path: Path, changes: dict[str, Any], fault: str) -> None:
    result = run("replay", air_file(tmp_path, hourly(3)), coats_file(tmp_path, **changes))
    assert result.exit_code == 1
    assert fault in result.stderr


def test_replay_of_what_is_no_json_names_the_line(tmp_path: Path) -> None:
    coats = tmp_path / "coats.json"
    coats.write_text('{"trees":\n [}', encoding="utf-8")
    result = run("replay", air_file(tmp_path, hourly(3)), coats)
    assert result.exit_code == 1
    assert "coats.json, line 2: not JSON" in result.stderr.replace("\n", "")
    missing = run("replay", tmp_path / "none.csv", coats)
    assert missing.exit_code == 1
    assert "none.csv" in missing.stderr.replace("\n", "")


def test_replay_learns_from_what_was_measured(tmp_path: Path) -> None:
    """Of each coat only what was known up to the next dip counts."""

    def judged(**measured: Any) -> list[Any]:
        coats = coats_file(tmp_path, spots=["face"], **measured)
        result = run("replay", air_file(tmp_path, hourly(40)), coats, "--json", members=8)
        assert result.exit_code == 0, result.stderr
        return [json.loads(line)["fit_at"] for line in result.stdout.splitlines()]

    plain = judged()
    early = {"at": format_time(START + 3 * HOUR_MS), "spot": "face", "felt": "damp"}
    late = {"at": format_time(START + 24 * HOUR_MS), "spot": "face", "felt": "damp"}
    first = judged(touches=[early])
    assert first[0]["p50"] >= plain[0]["p50"]
    assert first[0] != plain[0]
    second = judged(touches=[late])
    assert second[0] == plain[0]
    assert second[1] != plain[1]


@pytest.mark.parametrize(
    ("measured", "fault"),
    [
        ({"wax_kg": 3.0, "weighings": [{"kg": 2.0}]}, "2 kg is lighter than its wax alone, 3 kg"),
        ({"touches": [{"spot": "joint:20", "felt": "dry"}]}, "'joint:20' is none of its spots"),
        (
            {"surface_temps": [{"spot": "face", "temp_c": 18, "at": "2026-03-01T06:00:00Z"}]},
            "before the first",
        ),
        ({"touches": [{"spot": "face", "felt": "moist"}]}, "felt"),
    ],
)
def test_replay_names_what_cannot_have_been_measured(
    tmp_path: Path, measured: dict[str, Any], fault: str
) -> None:
    for said in measured.values():
        for one in said if isinstance(said, list) else ():
            one.setdefault("at", format_time(START + HOUR_MS))
    result = run("replay", air_file(tmp_path, hourly(3)), coats_file(tmp_path, **measured))
    assert result.exit_code == 1
    assert fault in result.stderr.replace("\n", "")


def test_serve_refuses_what_others_could_reach(tmp_path: Path) -> None:
    outside = run("serve", "--data", tmp_path, "--host", "0.0.0.0")
    assert outside.exit_code == 1
    assert "only this machine" in outside.stderr
    broker = run("serve", "--data", tmp_path, "--mqtt", "http://broker:1883")
    assert "none of listen://HOST:PORT" in broker.stderr
    assert list(tmp_path.iterdir()) == []
    open_mqtt = run("serve", "--data", tmp_path, "--mqtt", "listen://0.0.0.0:1883")
    assert open_mqtt.exit_code == 1
    assert "give the nodes passwords first" in open_mqtt.stderr.replace("\n", " ")
