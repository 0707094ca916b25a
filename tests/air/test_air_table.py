"""A file of air: what is read, and which line is named when it is no such file."""

import re
from pathlib import Path

import pytest

from sensors.air import PlaceAir
from sensors.air_table import AirFileError, read_air_table
from sensors.clock import HOUR_MS, parse_time

HEADER = "time,place,temp_c,rh_pct\n"
START = parse_time("2026-03-02T06:00:00Z")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "AIR.csv"


def test_hourly_rows_make_a_record(file: Path) -> None:
    rows = [f"2026-03-02T{hour:02d}:00:00Z,cellar,{10 + hour},55\n" for hour in range(6, 12)]
    file.write_text(HEADER + "".join(rows))
    places = read_air_table(file)
    assert list(places) == ["cellar"]
    air = PlaceAir(0.2)
    air.add(places["cellar"])
    assert air.missing(START, START + 5 * HOUR_MS) == ()
    mean = air.mean(START, START + HOUR_MS)
    assert mean is not None
    assert mean.temp_c == pytest.approx(16.5)
    assert mean.speed_m_s == 0.2


def test_gap_is_no_error_but_missing(file: Path) -> None:
    file.write_text(
        HEADER + "2026-03-02T06:00:00Z,cellar,18,55\n2026-03-02T07:00:00Z,cellar,18,55\n"
        "2026-03-02T10:00:00Z,cellar,18,55\n2026-03-02T11:00:00Z,cellar,18,55\n"
    )
    air = PlaceAir(0.2)
    air.add(read_air_table(file)["cellar"])
    assert air.missing(START, START + 5 * HOUR_MS) == ((START + HOUR_MS, START + 4 * HOUR_MS),)


def test_columns_in_any_order_speed_optional_two_places(file: Path) -> None:
    file.write_text(
        "\ufeffplace,time,rh_pct,air_speed_m_s,temp_c\r\n"
        "cellar,2026-03-02T08:00:00+02:00,50,0.6,20\r\n"
        "\r\n"
        "shop,2026-03-02T05:30:00Z,40,,21.5\r\n",
        encoding="utf-8",
    )
    places = read_air_table(file)
    assert [(r.name, r.value, r.time) for r in places["cellar"]] == [
        ("temperature", 20.0, START), ("humidity", 50.0, START), ("airspeed", 0.6, START),
    ]  # fmt: skip
    assert [(r.name, r.value) for r in places["shop"]] == [("temperature", 21.5), ("humidity", 40.0)]


GOOD = "2026-03-02T06:00:00Z,cellar,18,55\n"


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", ": empty; its first line must be time,place,temp_c,rh_pct"),
        ("\n", ": empty;"),
        (HEADER, ": a header and no rows"),
        ("time,place,temp_c\n" + GOOD, ", line 1: no column 'rh_pct' in the header 'time,place,temp_c'"),
        ("time,place,temp_c,temp_c,rh_pct\n", ", line 1: column 'temp_c' is there twice"),
        (HEADER + GOOD + "2026-03-02T07:00:00Z,cellar,warm,55\n", ", line 3: temp_c 'warm' is not a number"),
        (HEADER + "2026-03-02T07:00:00Z,cellar,,55\n", ", line 2: temp_c '' is not a number"),
        (HEADER + "2026-03-02T07:00:00Z,cellar,nan,55\n", ", line 2: temp_c 'nan' is not a number"),
        (HEADER + "2026-03-02T07:00:00Z,cellar,18,inf\n", ", line 2: rh_pct 'inf' is not a number"),
        (HEADER + "2026-03-02T07:00:00Z,cellar,18,101\n", ", line 2: rh_pct 101 is outside 0 to 100 %"),
        (HEADER + "2026-03-02T07:00:00Z,cellar,291.2,55\n", ", line 2: temp_c 291.2 is outside -40 to 85 °C"),
        (HEADER + "2026-03-02T07:00:00,cellar,18,55\n", ", line 2: time '2026-03-02T07:00:00' has no zone"),
        (HEADER + "yesterday,cellar,18,55\n", ", line 2: time 'yesterday' is not a time"),
        (HEADER + "2026-03-02T07:00:00Z,,18,55\n", ", line 2: no place"),
        (HEADER + "2026-03-02T07:00:00Z,cellar,18\n", ", line 2: 3 cells where the header has 4"),
        (
            HEADER + GOOD + "2026-03-02T05:00:00Z,cellar,18,55\n",
            ", line 3: time '2026-03-02T05:00:00Z' of 'cellar' out of order: it is before that of line 2",
        ),
        (
            HEADER + GOOD + "2026-03-02T05:00:00Z,shop,18,55\n" + "2026-03-02T07:00:00+01:00,cellar,18,55\n",
            ", line 4: time '2026-03-02T07:00:00+01:00' of 'cellar' again, after line 2",
        ),
    ],
)
def test_fault_names_file_and_line(file: Path, text: str, fault: str) -> None:
    file.write_text(text)
    with pytest.raises(AirFileError, match=re.escape(f"{file}{fault}")):
        read_air_table(file)


def test_bytes_that_are_no_text(file: Path) -> None:
    file.write_bytes(b"time,place\xff\xfe\x00")
    with pytest.raises(AirFileError, match=r"not UTF-8 text \(byte 10\)"):
        read_air_table(file)


def test_quoted_lines_are_counted_as_in_the_file(file: Path) -> None:
    file.write_text(HEADER + '2026-03-02T06:00:00Z,"cellar",18,55\n2026-03-02T07:00:00Z,"cellar",x,55\n')
    with pytest.raises(AirFileError, match="line 3: temp_c 'x'"):
        read_air_table(file)
