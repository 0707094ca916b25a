"""The figures of a drying chart in words: for a finger or a key on the chart, and as a table."""

import json
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from operator import attrgetter

from sensors.clock import HOUR_MS, SECOND_MS, Millis
from server.pages.axes import TimeAxis
from server.pages.traces import Trace, value_at
from server.pages.wording import per_cent
from server.units import SI, Units
from server.verdicts import AirPoint

COLUMNS = 80
"""Places on the chart where it can be read."""

ROWS = 12
"""Rows of the table."""


@dataclass(frozen=True)
class ReadoutRow:
    """One time in the table: what is left at the spot, its spread, the air."""

    when: str
    left: str
    spread: str
    air: str


@dataclass(frozen=True)
class Readout:
    """Where the chart can be read (x in its own units) and what it says there; and the table."""

    xs: tuple[float, ...]
    words: tuple[str, ...]
    rows: tuple[ReadoutRow, ...]

    def for_script(self) -> str:
        """As the page's script takes it."""
        return json.dumps(
            [[round(x, 1), words] for x, words in zip(self.xs, self.words, strict=True)],
            ensure_ascii=False,
            separators=(",", ":"),
        )


def read_columns(
    traces: Sequence[Trace], air: Sequence[AirPoint], axis: TimeAxis, now: Millis, units: Units = SI
) -> Readout:
    """What is read at times evenly along the axis; the first trace is the one that the table is of."""
    step = (axis.end - axis.start) / (COLUMNS - 1)
    times = [round(axis.start + step * column) for column in range(COLUMNS)]
    found = [(time, _said(traces, time), _air_at(air, time, units)) for time in times]
    words = tuple(
        " · ".join(filter(None, (_clock(time, axis.zone, now), *said, air_there)))
        for time, said, air_there in found
    )
    table = [found[round(row * (COLUMNS - 1) / (ROWS - 1))] for row in range(ROWS)]
    rows = tuple(
        ReadoutRow(_clock(time, axis.zone, now), *_figures(traces[0], time), air_there or "not known")
        for time, _, air_there in table
    )
    return Readout(tuple(axis.x(time) for time in times), words, rows)


def _said(traces: Sequence[Trace], time: Millis) -> list[str]:
    said = []
    for rank, trace in enumerate(traces):
        value = value_at(trace, time)
        if value is not None:
            spread = _spread(value[1], value[2]) if rank == 0 else ""
            said.append(f"{trace.name} {per_cent(value[0])}{f' ({spread})' if spread else ''}")
    return said


def _figures(trace: Trace, time: Millis) -> tuple[str, str]:
    value = value_at(trace, time)
    return ("", "") if value is None else (per_cent(value[0]), _spread(value[1], value[2]))


def _spread(low: float, high: float) -> str:
    """The ends of a spread, "" where they are told alike.

    >>> _spread(0.28, 0.412), _spread(0.3, 0.3)
    ('28 % to 41 %', '')
    """
    least, most = per_cent(low), per_cent(high)
    return "" if least == most else f"{least} to {most}"


def _air_at(air: Sequence[AirPoint], time: Millis, units: Units) -> str:
    """The air at a time, "" where it is not known or not yet."""
    after = bisect_left(air, time, key=attrgetter("time"))
    near = min(air[max(after - 1, 0) : after + 1], key=lambda point: abs(point.time - time), default=None)
    if near is None or abs(near.time - time) > HOUR_MS or near.temp_c is None or near.rh_pct is None:
        return ""
    return f"air {units.temp_words(near.temp_c)}, {near.rh_pct:.0f} %RH"


def _clock(time: Millis, zone: tzinfo, now: Millis) -> str:
    local = datetime.fromtimestamp(time / SECOND_MS, zone)
    return f"{local:%a %H:%M}{', expected' if time > now else ''}"
