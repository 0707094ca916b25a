"""Charts as inline SVG in `currentColor`: how a tree's spots dry, and the air below on the same axis of
shop time.

Lines are told apart by weight and dash and named where they end; what is ahead is paler than what was. The
spread of the line that is looked at is a pale band. Times are in the shop's own zone, units stand on every
axis, and a gap in the air record is drawn as a gap.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, Millis
from server.pages.axes import TimeAxis, ValueAxis
from server.pages.readout import Readout, read_columns
from server.pages.strips import GAP, HEIGHT, Point, Strip, humidity_strip, strip_svg, temperature_strip
from server.pages.svg import LEFT, RIGHT, level, point_mark, polygon, polyline, stroke, svg, text, time_labels
from server.pages.traces import Trace, Word, coming, value_at
from server.units import SI, Units
from server.verdicts import AirPoint, SpotVerdict

LINE_HEIGHT = 17.0

_DRY_TOP, _DRY_BOTTOM = 42.0, 200.0
_MOST = 3.0
"""Above this many times the dip's water a line is cut off: it would flatten all the others."""


@dataclass(frozen=True)
class Drying:
    """What is drawn: a trace for each spot, the one looked at first, with limits, dips (coat number, time),
    what was touched or looked at, the air, and what else was measured, as strips below."""

    traces: Sequence[Trace]
    limits: Sequence[float]
    dips: Sequence[tuple[int, Millis]]
    air: Sequence[AirPoint]
    words: Sequence[Word] = ()
    temps: Sequence[Point] = ()
    strips: Sequence[Strip] = ()
    whole: bool = False
    units: Units = SI


def drying_svg(drying: Drying, now: Millis, zone: tzinfo) -> str:
    """What remains at each spot against shop time, and the air. Empty when there is nothing to draw."""
    return drying_chart(drying, now, zone)[0]


def drying_chart(drying: Drying, now: Millis, zone: tzinfo) -> tuple[str, Readout]:
    """The chart, and its figures for a finger, a key, or a screen reader."""
    starts = [trace.start for trace in drying.traces if trace.start is not None]
    if not starts:
        return "", Readout((), (), ())
    axis = TimeAxis(min(starts), _end(drying.traces, min(starts), now), LEFT, RIGHT, zone)
    most = max((value for trace in drying.traces for value in trace.values(axis)), default=1.0)
    share = ValueAxis(0.0, max(1.0, min(most, _MOST)), _DRY_BOTTOM, _DRY_TOP)
    body = [
        text(0, 14, "Left of the dip’s water, %", "start"),
        *(level(share, value, f"{value * 100:.0f}") for value in (0.0, 0.5, 1.0)),
        *_band(drying.traces[0], axis, share),
        *_limits(drying.limits, share),
        *_lines(drying.traces, axis, share),
        *_dips(drying.dips, axis, drying.whole),
        *_words(drying, axis, share),
    ]
    bottom = _DRY_BOTTOM
    air = (
        (temperature_strip(drying.air, drying.units, drying.temps), humidity_strip(drying.air))
        if drying.air
        else ()
    )
    for strip in (*air, *drying.strips):
        body += strip_svg(strip, axis, bottom + GAP)
        bottom += GAP + HEIGHT
    body += [*time_labels(axis, bottom), *_now_line(axis, now, _DRY_TOP, bottom)]
    body.append(f'<path class="reader" d="M0 {_DRY_TOP:g}V{bottom:.1f}"/>')
    readout = read_columns(drying.traces, drying.air, axis, now, drying.units)
    caption = "How each spot dries, and the air it dries in"
    return svg(bottom + 26, caption, body, readout.for_script()), readout


def line_sample(rank: int) -> str:
    """A short piece of the line that spot is drawn with: rank 0 is the one looked at."""
    return (
        f'<svg class="sample" viewBox="0 0 44 8" aria-hidden="true"><path d="M0 4H44" {stroke(rank)}/></svg>'
    )


def ranked(spots: Sequence[SpotVerdict], first: str | None) -> list[SpotVerdict]:
    """The spots with that one first, then by what remains: the order of lines and of the list beside
    them."""
    return sorted(spots, key=lambda spot: (spot.code != first, -spot.remaining, spot.name))


def _end(traces: Iterable[Trace], start: Millis, now: Millis) -> Millis:
    """Up to a little beyond the last spot's time, and never so far that what happened is lost in a corner."""
    known = max(now, start + HOUR_MS)
    ahead = [when for trace in traces if (when := _late(trace.fit_at)) is not None and when > now]
    if ahead:
        end = max(ahead) + (max(ahead) - start) // 12
    elif any(coming(trace) for trace in traces):
        end = known + max(known - start, 6 * HOUR_MS) // 4
    else:
        end = known
    last_point = max((trace.end for trace in traces if trace.end is not None), default=known)
    return max(known, min(end, last_point))


def _late(when: Quantiles) -> Millis | None:
    return when.p90 if when.p90 is not None else when.p50


def _band(trace: Trace, axis: TimeAxis, share: ValueAxis) -> list[str]:
    marks = []
    for run in trace.runs:
        inside = run.drawn(axis)
        if len(inside) > 1 and any(high > low for _, _, low, high in inside):
            low = [(axis.x(time), share.y(low)) for time, _, low, _ in inside]
            high = [(axis.x(time), share.y(high)) for time, _, _, high in inside]
            marks.append(f'<path class="band" d="{polygon([*high, *reversed(low)])}"/>')
    return marks


def _lines(traces: Sequence[Trace], axis: TimeAxis, share: ValueAxis) -> list[str]:
    lines, ends = [], []
    for rank, trace in enumerate(traces):
        last: list[tuple[float, float]] = []
        for run in trace.runs:
            points = [(axis.x(time), share.y(value)) for time, value, _, _ in run.drawn(axis)]
            joined = [*last[-1:], *points] if run.ahead else points
            if len(joined) > 1:
                kind = 'class="ahead" ' if run.ahead else ""
                lines.append(f'<path {kind}d="{polyline(joined)}" {stroke(rank)}/>')
            last = points or last
        if last:
            ends.append((last[-1], trace.name))
    return [*lines, *_end_labels(ends)]


def _end_labels(ends: list[tuple[tuple[float, float], str]]) -> list[str]:
    """Names where the lines end, moved apart so that none covers another; a thin line leads to each."""
    labels: list[str] = []
    placed = _DRY_TOP - LINE_HEIGHT
    room = _DRY_BOTTOM - 3 - LINE_HEIGHT * len(ends)
    for number, ((x, y), name) in enumerate(sorted(ends, key=lambda end: end[0][1]), start=1):
        placed = max(placed + LINE_HEIGHT, min(y, room + LINE_HEIGHT * number))
        short = name if len(name) <= 10 else f"{name[:9]}…"
        labels.append(f'<path class="lead" d="M{x:.1f} {y:.1f}L{RIGHT + 4:g} {placed:.1f}"/>')
        labels.append(text(RIGHT + 7, placed + 5, short, "start"))
    return labels


def _limits(limits: Iterable[float], share: ValueAxis) -> list[str]:
    """The limit at which the next coat may go on; spots of one coat have one limit."""
    marks: list[str] = []
    for limit in sorted(set(limits)):
        y = share.y(limit)
        marks.append(f'<path class="limit" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>')
        marks.append(text(LEFT + 4, y - 4, f"fit at {limit * 100:.2g} %", "start"))
    return marks


def _dips(dips: Sequence[tuple[int, Millis]], axis: TimeAxis, whole: bool) -> list[str]:
    """A tick for each dip; with many of them the number alone stands over it, where there is room."""
    marks: list[str] = []
    free_from = LEFT
    for coat, moment in dips:
        if axis.holds(moment):
            x = axis.x(moment)
            marks.append(f'<path class="dip" d="M{x:.1f} {_DRY_BOTTOM:g}v-9"/>')
            words = f"{coat}" if whole else f"coat {coat} dipped"
            if x >= free_from:
                marks.append(text(x, _DRY_TOP - 5, words, "start"))
                free_from = x + 9.0 * len(words) + 4
    return marks


def _words(drying: Drying, axis: TimeAxis, share: ValueAxis) -> list[str]:
    """What was felt or seen at a spot, on its line: open where it was wet, filled where it was dry."""
    marks = []
    for word in drying.words:
        trace = next((one for one in drying.traces if one.code == word.spot), None)
        value = None if trace is None else value_at(trace, word.at)
        if value is not None and axis.holds(word.at):
            marks.append(point_mark(axis.x(word.at), share.y(value[0]), word.said, filled=word.dry))
    return marks


def _now_line(axis: TimeAxis, now: Millis, top: float, bottom: float) -> list[str]:
    # Where now is the axis' end there is nothing ahead to part from what was.
    if not axis.holds(now) or axis.x(now) > RIGHT - 3:
        return []
    x = axis.x(now)
    return [f'<path class="now" d="M{x:.1f} {top:g}V{bottom:.1f}"/>', text(x + 4, top + 13, "now", "start")]
