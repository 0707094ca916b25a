"""A record of air in a file: `time,place,temp_c,rh_pct` and perhaps `air_speed_m_s`, a row a moment."""

import csv
import io
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from sensors.clock import Millis, parse_time
from sensors.reading import QUANTITIES, Reading

NODE = "file"
"""The node that the readings of a file are said to come from."""

_COLUMNS = {"temp_c": "temperature", "rh_pct": "humidity", "air_speed_m_s": "airspeed"}
_NEEDED = ("time", "place", "temp_c", "rh_pct")


class _Rows(Protocol):
    """What csv.reader makes, which has no public name."""

    @property
    def line_num(self) -> int: ...

    def __iter__(self) -> Iterator[list[str]]: ...

    def __next__(self) -> list[str]: ...


class AirFileError(ValueError):
    """The file is no record of air. The text names the file, the line and the fault."""


def read_air_table(path: Path) -> dict[str, list[Reading]]:
    """Read a record of air: for each place, its readings in the order of time.

    Times carry their zone and rise within a place. An air speed may be left empty in a row. A gap is no
    fault: the air record shows it as missing. Raises AirFileError naming the file, the line and the fault,
    and OSError where the file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise AirFileError(f"{path}: not UTF-8 text (byte {fault.start})") from None
    rows = csv.reader(io.StringIO(text))
    try:
        return _read_rows(path, rows)
    except csv.Error as fault:
        raise AirFileError(f"{path}, line {rows.line_num}: {fault}") from None


def _read_rows(path: Path, rows: _Rows) -> dict[str, list[Reading]]:
    header = [name.strip() for name in next(rows, [])]
    if not any(header):
        raise AirFileError(f"{path}: empty; its first line must be {','.join(_NEEDED)}")
    for name in _NEEDED:
        if name not in header:
            raise AirFileError(f"{path}, line 1: no column {name!r} in the header {','.join(header)!r}")
    for name in header:
        if header.count(name) > 1:
            raise AirFileError(f"{path}, line 1: column {name!r} is there twice")
    places: dict[str, list[Reading]] = {}
    seen: dict[str, tuple[Millis, int]] = {}
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        where = f"{path}, line {rows.line_num}"
        if len(row) != len(header):
            raise AirFileError(f"{where}: {len(row)} cells where the header has {len(header)}")
        cells = {name: cell.strip() for name, cell in zip(header, row, strict=True)}
        time = _time(where, cells["time"])
        place = cells["place"]
        if not place:
            raise AirFileError(f"{where}: no place")
        if place in seen and time <= seen[place][0]:
            fault = "again, after" if time == seen[place][0] else "out of order: it is before that of"
            raise AirFileError(f"{where}: time {cells['time']!r} of {place!r} {fault} line {seen[place][1]}")
        seen[place] = (time, rows.line_num)
        places.setdefault(place, []).extend(_readings(where, cells, place, time))
    if not places:
        raise AirFileError(f"{path}: a header and no rows")
    return places


def _time(where: str, text: str) -> Millis:
    try:
        return parse_time(text)
    except ValueError as fault:
        raise AirFileError(f"{where}: {fault}") from None


def _readings(where: str, cells: dict[str, str], place: str, time: Millis) -> Iterator[Reading]:
    for column, name in _COLUMNS.items():
        text = cells.get(column, "")
        if not text and column not in _NEEDED:
            continue
        quantity = QUANTITIES[name]
        try:
            value = float(text)
        except ValueError:
            raise AirFileError(f"{where}: {column} {text!r} is not a number") from None
        if not math.isfinite(value):
            raise AirFileError(f"{where}: {column} {text!r} is not a number")
        if not quantity.lowest <= value <= quantity.highest:
            raise AirFileError(
                f"{where}: {column} {text} is outside {quantity.lowest:g} to {quantity.highest:g}"
                f" {_spoken(quantity.unit)}"
            )
        yield Reading(place, NODE, name, quantity.unit, value, time)


def _spoken(unit: str) -> str:
    return {"Cel": "°C", "%RH": "%"}.get(unit, unit)
