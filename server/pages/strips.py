"""Strips of values against shop time, one under the other: under a tree's curves, and on the air's page."""

from collections.abc import Sequence
from dataclasses import dataclass

from sensors.clock import Millis
from server.pages.axes import TimeAxis, ValueAxis, round_range
from server.pages.svg import LEFT, RIGHT, level, point_mark, polyline, stroke, text
from server.units import SI, Units
from server.verdicts import AirPoint

HEIGHT, GAP = 54.0, 42.0

Values = Sequence[tuple[Millis, float | None]]
"""Times [shop ms] with their values; None where it is not known."""


Point = tuple[Millis, float, float, str]
"""A measured value: when [shop ms], what, its error (one standard deviation), and the words of it."""


@dataclass(frozen=True)
class Line:
    """One line of a strip; `name` stands where it ends, before the value there, "" for none."""

    values: Values
    name: str = ""


@dataclass(frozen=True)
class Strip:
    """One strip: what it shows, its unit, the step of its axis, and its lines, the first of them whole."""

    title: str
    unit: str
    step: float
    lines: tuple[Line, ...]
    points: tuple[Point, ...] = ()


def temperature_strip(air: Sequence[AirPoint], units: Units = SI, measured: Sequence[Point] = ()) -> Strip:
    """The temperature of the air, and of surfaces where they were measured, in the shop's unit."""
    title = "Air and surfaces" if measured else "Air"
    return Strip(title, units.temp_sign, 2.0, (Line(temperatures(air, units)),), tuple(measured))


def temperatures(air: Sequence[AirPoint], units: Units) -> Values:
    """The temperatures of the air in the shop's unit."""
    return [(point.time, None if point.temp_c is None else units.temp(point.temp_c)) for point in air]


def humidity_strip(air: Sequence[AirPoint]) -> Strip:
    """The relative humidity of the air."""
    return Strip("Humidity", "%RH", 10.0, (Line([(point.time, point.rh_pct) for point in air]),))


def strip_svg(strip: Strip, axis: TimeAxis, top: float) -> list[str]:
    """A strip from `top` down over HEIGHT; where its first line is not known it is hatched."""
    bottom = top + HEIGHT
    shown = [[one for one in line.values if axis.holds(one[0])] for line in strip.lines]
    points = [point for point in strip.points if axis.holds(point[0])]
    values = [value for line in shown for _, value in line if value is not None]
    values += [value + off for _, value, error, _ in points for off in (-error, error)]
    marks = [text(0, top - 14, f"{strip.title}, {strip.unit}", "start")]
    if not values:
        return [*marks, text(LEFT + 4, (top + bottom) / 2 + 4, "not known", "start")]
    low, high = round_range(values, strip.step)
    scale = ValueAxis(low, high, bottom, top)
    marks += [level(scale, low, f"{low:g}"), level(scale, high, f"{high:g}")]
    marks += _holes(shown[0], axis, top, bottom) if shown else []
    ends: list[tuple[float, str]] = []
    for rank, (line, told) in enumerate(zip(strip.lines, shown, strict=True)):
        runs = _runs(told, axis, scale)
        marks += [
            f'<path d="{polyline(run)}" {stroke(rank + 1, dash=rank > 0)}/>' for run in runs if len(run) > 1
        ]
        last = next((value for _, value in reversed(told) if value is not None), None)
        if last is not None:
            name = f"{line.name} " if line.name else ""
            ends.append((runs[-1][-1][1], f"{name}{last:.0f} {strip.unit}"))
    for time, value, error, words in points:
        ends_at = (scale.y(value - error), scale.y(value + error))
        marks.append(point_mark(axis.x(time), scale.y(value), words, error=ends_at))
    return [*marks, *_named(ends, top)]


def _runs(points: Values, axis: TimeAxis, scale: ValueAxis) -> list[list[tuple[float, float]]]:
    runs: list[list[tuple[float, float]]] = [[]]
    for time, value in points:
        if value is None:
            runs.append([])
        else:
            runs[-1].append((axis.x(time), scale.y(value)))
    return [run for run in runs if run]


def _holes(points: Values, axis: TimeAxis, top: float, bottom: float) -> list[str]:
    """One mark for each stretch that is not known."""
    marks: list[str] = []
    since: float | None = None
    for time, value in points:
        if value is None and since is None:
            since = axis.x(time)
        elif value is not None and since is not None:
            marks.append(_hole(since, axis.x(time), top, bottom))
            since = None
    if since is not None:
        marks.append(_hole(since, RIGHT, top, bottom))
    return marks


def _hole(x: float, until: float, top: float, bottom: float) -> str:
    return f'<path class="gap" d="M{x:.1f} {top:g}H{max(until, x + 1):.1f}V{bottom:g}H{x:.1f}Z"/>'


def _named(ends: Sequence[tuple[float, str]], top: float) -> list[str]:
    """The values where the lines end, moved apart so that none covers another."""
    marks: list[str] = []
    placed = top - 17.0
    for y, words in sorted(ends):
        placed = max(placed + 17.0, y)
        marks.append(text(RIGHT + 7, placed + 5, words, "start"))
    return marks
