"""Charts as inline SVG in `currentColor`: how a tree's spots dry, and the air below on the same axis of
shop time.

Lines are told apart by weight and dash and named where they end; what is ahead is paler than what was.
Times are in the shop's own zone, units stand on every axis, and a gap in the air record is drawn as a gap.
"""

from collections.abc import Iterable, Sequence
from datetime import tzinfo

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, Millis
from server.pages.axes import TimeAxis, ValueAxis
from server.pages.strips import GAP, HEIGHT, humidity_strip, strip_svg, temperature_strip
from server.pages.svg import LEFT, RIGHT, level, polyline, stroke, svg, text, time_labels
from server.verdicts import AirPoint, Curve, SpotVerdict

LINE_HEIGHT = 17.0

_DRY_TOP, _DRY_BOTTOM = 42.0, 200.0


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
        text(0, 14, "Left of the dip’s water, %", "start"),
        *(level(share, value, f"{value * 100:.0f}") for value in (0.0, 0.5, 1.0)),
        *_limits(spots, share),
        *_spot_lines(spots, slowest, axis, share, now),
        *_dips(dips, axis),
    ]
    bottom = _DRY_BOTTOM
    for strip in (temperature_strip(air), humidity_strip(air)) if air else ():
        body += strip_svg(strip, axis, bottom + GAP)
        bottom += GAP + HEIGHT
    body += [*time_labels(axis, bottom), *_now_line(axis, now, _DRY_TOP, bottom)]
    return svg(bottom + 26, "How each spot dries, and the air it dries in", body)


def line_sample(rank: int) -> str:
    """A short piece of the line that spot is drawn with: rank 0 is the slowest."""
    return (
        f'<svg class="sample" viewBox="0 0 44 8" aria-hidden="true"><path d="M0 4H44" {stroke(rank)}/></svg>'
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
            lines.append(f'<path d="{polyline(past)}" {stroke(rank)}/>')
        if coming:
            joined = [*past[-1:], *coming]
            lines.append(f'<path class="ahead" d="{polyline(joined)}" {stroke(rank)}/>')
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
        labels.append(text(RIGHT + 7, placed + 5, short, "start"))
    return labels


def _limits(spots: Sequence[SpotVerdict], share: ValueAxis) -> list[str]:
    """The limit at which the next coat may go on; spots of one coat have one limit."""
    marks: list[str] = []
    for limit in sorted({spot.limit for spot in spots}):
        y = share.y(limit)
        marks.append(f'<path class="limit" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>')
        marks.append(text(LEFT + 4, y - 4, f"fit at {limit * 100:.2g} %", "start"))
    return marks


def _dips(dips: Sequence[tuple[int, Millis]], axis: TimeAxis) -> list[str]:
    marks: list[str] = []
    for coat, moment in dips:
        if axis.holds(moment):
            x = axis.x(moment)
            marks.append(f'<path class="dip" d="M{x:.1f} {_DRY_BOTTOM:g}v-9"/>')
            marks.append(text(x, _DRY_TOP - 5, f"coat {coat} dipped", "start"))
    return marks


def _now_line(axis: TimeAxis, now: Millis, top: float, bottom: float) -> list[str]:
    # Where now is the axis' end there is nothing ahead to part from what was.
    if not axis.holds(now) or axis.x(now) > RIGHT - 3:
        return []
    x = axis.x(now)
    return [f'<path class="now" d="M{x:.1f} {top:g}V{bottom:.1f}"/>', text(x + 4, top + 13, "now", "start")]
