"""Charts as inline SVG in `currentColor`: how a tree's spots dry, and the air below on the same axis of
shop time.

Lines are told apart by weight and dash and named where they end; what is ahead is paler than what was.
Times are in the shop's own zone, units stand on every axis, and a gap in the air record is drawn as a gap.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from html import escape

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from server.pages.axes import TimeAxis, ValueAxis, round_range
from server.verdicts import AirPoint, Curve, SpotVerdict

WIDTH = 358.0
LEFT, RIGHT = 36.0, 268.0
DASHES = ("", "7 3", "2 3", "9 3 2 3", "4 5", "12 4 2 4 2 4")
"""The slowest spot is drawn whole and heavy; the others take the dashes in order."""

LINE_HEIGHT = 17.0

_DRY_TOP, _DRY_BOTTOM = 42.0, 200.0
_AIR_HEIGHT, _AIR_GAP = 54.0, 42.0


@dataclass(frozen=True)
class _Panel:
    """One strip of air: which value, its unit, the step of its axis."""

    title: str
    unit: str
    step: float
    read: Callable[[AirPoint], float | None]


_PANELS = (
    _Panel("Air", "°C", 2.0, lambda point: point.temp_c),
    _Panel("Humidity", "%RH", 10.0, lambda point: point.rh_pct),
)


def drying_svg(
    spots: Sequence[SpotVerdict],
    air: Sequence[AirPoint],
    dips: Sequence[tuple[int, Millis]],
    slowest: str | None,
    now: Millis,
    zone: tzinfo,
) -> str:
    """What remains at each spot against shop time, with the limit, the dips (coat number, time) and the air.

    Empty when there is nothing to draw.
    """
    start = min((curve[0][0] for curve in _curves(spots)), default=None)
    if start is None:
        return ""
    axis = TimeAxis(start, _end(spots, start, now), LEFT, RIGHT, zone)
    most = max((value for curve in _curves(spots) for time, value in curve if axis.holds(time)), default=1.0)
    share = ValueAxis(0.0, max(1.0, min(most, 3.0)), _DRY_BOTTOM, _DRY_TOP)
    body = [
        _text(0, 14, "Left of the dip’s water, %", "start"),
        *(_level(share, value, f"{value * 100:.0f}") for value in (0.0, 0.5, 1.0)),
        *_limits(spots, share),
        *_spot_lines(spots, slowest, axis, share, now),
        *_dips(dips, axis),
    ]
    bottom = _DRY_BOTTOM
    for panel in _PANELS if air else ():
        top = bottom + _AIR_GAP
        bottom = top + _AIR_HEIGHT
        body += _air_strip(panel, air, axis, top, bottom)
    body += [*_time_labels(axis, bottom), *_now_line(axis, now, _DRY_TOP, bottom)]
    return _svg(bottom + 26, "How each spot dries, and the air it dries in", body)


def air_svg(air: Sequence[AirPoint], now: Millis, zone: tzinfo) -> str:
    """Temperature and relative humidity of a place against shop time; empty when nothing is known."""
    if len(air) < 2 or all(point.temp_c is None for point in air):
        return ""
    axis = TimeAxis(air[0].time, max(air[-1].time, air[0].time + MINUTE_MS), LEFT, RIGHT, zone)
    body: list[str] = []
    bottom = -14.0
    for panel in _PANELS:
        top = bottom + _AIR_GAP
        bottom = top + _AIR_HEIGHT
        body += _air_strip(panel, air, axis, top, bottom)
    body += _time_labels(axis, bottom)
    return _svg(bottom + 26, "Temperature and relative humidity of the air", body)


def line_sample(rank: int) -> str:
    """A short piece of the line that spot is drawn with: rank 0 is the slowest."""
    return (
        f'<svg class="sample" viewBox="0 0 44 8" aria-hidden="true"><path d="M0 4H44" {_stroke(rank)}/></svg>'
    )


def ranked(spots: Sequence[SpotVerdict], slowest: str | None) -> list[SpotVerdict]:
    """The spots with the slowest first, then by what remains: the order of lines and of the list beside
    them."""
    return sorted(spots, key=lambda spot: (spot.code != slowest, -spot.remaining, spot.name))


def _curves(spots: Iterable[SpotVerdict]) -> list[Curve]:
    return [curve for spot in spots for curve in (spot.curve, spot.ahead) if curve]


def _end(spots: Sequence[SpotVerdict], start: Millis, now: Millis) -> Millis:
    """Up to a little beyond the last spot's time, and never so far that what happened is lost in a corner."""
    known = max(now, start + HOUR_MS)
    ahead = [when for spot in spots if (when := _late(spot.fit_at)) is not None and when > now]
    if ahead:
        end = max(ahead) + (max(ahead) - start) // 12
    else:
        end = known + max(known - start, 6 * HOUR_MS) // 4 if any(spot.ahead for spot in spots) else known
    last_point = max((curve[-1][0] for curve in _curves(spots)), default=known)
    return max(known, min(end, last_point))


def _late(when: Quantiles) -> Millis | None:
    return when.p90 if when.p90 is not None else when.p50


def _spot_lines(
    spots: Sequence[SpotVerdict], slowest: str | None, axis: TimeAxis, share: ValueAxis, now: Millis
) -> list[str]:
    lines, ends = [], []
    for rank, spot in enumerate(ranked(spots, slowest)):
        past = [(axis.x(time), share.y(value)) for time, value in spot.curve if axis.holds(time)]
        coming = [(axis.x(time), share.y(value)) for time, value in _within(spot.ahead, axis)]
        if len(past) > 1:
            lines.append(f'<path d="{_polyline(past)}" {_stroke(rank)}/>')
        if coming:
            joined = [*past[-1:], *coming]
            lines.append(f'<path class="ahead" d="{_polyline(joined)}" {_stroke(rank)}/>')
        end = (coming or past)[-1:]
        if end:
            ends.append((end[0], spot.name))
    return [*lines, *_end_labels(ends)]


def _within(curve: Curve, axis: TimeAxis) -> list[tuple[Millis, float]]:
    """The part of a curve that lies on the axis, cut at its end between two points."""
    inside: list[tuple[Millis, float]] = []
    for time, value in curve:
        if time > axis.end:
            if inside:
                before, was = inside[-1]
                part = (axis.end - before) / (time - before)
                inside.append((axis.end, was + (value - was) * part))
            break
        if time >= axis.start:
            inside.append((time, value))
    return inside


def _end_labels(ends: list[tuple[tuple[float, float], str]]) -> list[str]:
    """Names where the lines end, moved apart so that none covers another; a thin line leads to each."""
    labels: list[str] = []
    placed = _DRY_TOP - LINE_HEIGHT
    room = _DRY_BOTTOM - 3 - LINE_HEIGHT * len(ends)
    for number, ((x, y), name) in enumerate(sorted(ends, key=lambda end: end[0][1]), start=1):
        placed = max(placed + LINE_HEIGHT, min(y, room + LINE_HEIGHT * number))
        short = name if len(name) <= 10 else f"{name[:9]}…"
        labels.append(f'<path class="lead" d="M{x:.1f} {y:.1f}L{RIGHT + 4:g} {placed:.1f}"/>')
        labels.append(_text(RIGHT + 7, placed + 5, short, "start"))
    return labels


def _limits(spots: Sequence[SpotVerdict], share: ValueAxis) -> list[str]:
    """The limit at which the next coat may go on; spots of one coat have one limit."""
    marks: list[str] = []
    for limit in sorted({spot.limit for spot in spots}):
        y = share.y(limit)
        marks.append(f'<path class="limit" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>')
        marks.append(_text(LEFT + 4, y - 4, f"fit at {limit * 100:.2g} %", "start"))
    return marks


def _dips(dips: Sequence[tuple[int, Millis]], axis: TimeAxis) -> list[str]:
    marks: list[str] = []
    for coat, moment in dips:
        if axis.holds(moment):
            x = axis.x(moment)
            marks.append(f'<path class="dip" d="M{x:.1f} {_DRY_BOTTOM:g}v-9"/>')
            marks.append(_text(x, _DRY_TOP - 5, f"coat {coat} dipped", "start"))
    return marks


def _air_strip(
    panel: _Panel, air: Sequence[AirPoint], axis: TimeAxis, top: float, bottom: float
) -> list[str]:
    """One value of the air; where it is not known the strip is hatched and says so."""
    values = [value for point in air if axis.holds(point.time) and (value := panel.read(point)) is not None]
    marks = [_text(0, top - 14, f"{panel.title}, {panel.unit}", "start")]
    if not values:
        return [*marks, _text(LEFT + 4, (top + bottom) / 2 + 4, "not known", "start")]
    low, high = round_range(values, panel.step)
    scale = ValueAxis(low, high, bottom, top)
    marks += [_level(scale, low, f"{low:g}"), _level(scale, high, f"{high:g}")]
    runs: list[list[tuple[float, float]]] = [[]]
    shown = [point for point in air if axis.holds(point.time)]
    for point, following in zip(shown, [*shown[1:], None], strict=True):
        value = panel.read(point)
        if value is None:
            runs.append([])
            x, until = axis.x(point.time), axis.x(following.time) if following else axis.x(point.time) + 1
            marks.append(f'<path class="gap" d="M{x:.1f} {top:g}H{until:.1f}V{bottom:g}H{x:.1f}Z"/>')
        else:
            runs[-1].append((axis.x(point.time), scale.y(value)))
    marks += [f'<path d="{_polyline(run)}" {_stroke(1, dash=False)}/>' for run in runs if len(run) > 1]
    ends = [run[-1] for run in runs if run]
    marks.append(_text(RIGHT + 7, ends[-1][1] + 5, f"{values[-1]:.0f} {panel.unit}", "start"))
    return marks


def _time_labels(axis: TimeAxis, bottom: float) -> list[str]:
    marks = [f'<path class="axis" d="M{LEFT:g} {bottom:.1f}H{RIGHT:g}"/>']
    for moment, label in axis.ticks():
        x = axis.x(moment)
        marks.append(f'<path class="axis" d="M{x:.1f} {bottom:.1f}v4"/>')
        marks.append(_text(min(max(x, 14), RIGHT), bottom + 20, label, "middle"))
    return marks


def _now_line(axis: TimeAxis, now: Millis, top: float, bottom: float) -> list[str]:
    # Where now is the axis' end there is nothing ahead to part from what was.
    if not axis.holds(now) or axis.x(now) > RIGHT - 3:
        return []
    x = axis.x(now)
    return [f'<path class="now" d="M{x:.1f} {top:g}V{bottom:.1f}"/>', _text(x + 4, top + 13, "now", "start")]


def _level(scale: ValueAxis, value: float, label: str) -> str:
    y = scale.y(value)
    line = f'<path class="grid" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>'
    return line + _text(LEFT - 5, y + 5, label, "end")


def _polyline(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _stroke(rank: int, dash: bool = True) -> str:
    weight = "2.6" if rank == 0 else "1.5"
    pattern = DASHES[rank % len(DASHES)] if dash else ""
    dashes = f' stroke-dasharray="{pattern}"' if pattern else ""
    return f'fill="none" stroke="currentColor" stroke-width="{weight}"{dashes}'


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _svg(height: float, caption: str, body: Sequence[str]) -> str:
    inside = "".join(body)
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label="{escape(caption)}">'
        f"{inside}</svg>"
    )
