"""The fortnight in one picture: coats as bars, their doubt as a pale end, the pour day as a line."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from markupsafe import Markup

from scheduler.pour_day import NEVER
from sensors.clock import DAY_MS, Millis
from server.pages.axes import TimeAxis
from server.pages.svg import WIDTH, svg, text
from server.planning import TreeAhead

AHEAD_MS = 14 * DAY_MS
LEFT, RIGHT = 4.0, WIDTH - 8.0
ROW, BAR = 44.0, 12.0


def fortnight_svg(trees: Sequence[TreeAhead], now: Millis, pour_at: Millis | None, zone: ZoneInfo) -> Markup:
    """The picture: a row a tree, a bar a coat from its dip to when it is dry, at the median.

    The pale part behind a bar goes on to its 90th percentile; a mark stands where the tree can be burnt out.
    """
    axis = TimeAxis(now, now + AHEAD_MS, LEFT, RIGHT, zone)
    bottom = ROW * len(trees) + 8.0
    marks = []
    for number, one in enumerate(trees):
        top = ROW * number
        marks.append(text(LEFT, top + 17.0, one.tree.label, "start"))
        y = top + 22.0
        for place, coat in enumerate(one.coats):
            start, end, late = coat.dips[1], coat.dry[1], coat.dry[2]
            if start >= axis.end:
                break
            shade = "soft" if place % 2 else "firm"
            marks.append(_bar(axis, min(end, axis.end), late, y + 3.0, BAR - 6.0, "late"))
            marks.append(_bar(axis, start, end, y, BAR, shade))
        if one.burnout[1] < axis.end:
            x = axis.x(one.burnout[1])
            marks.append(f'<path class="out" d="M{x:.1f} {y - 3:.1f}l5 9l-5 9l-5 -9z"/>')
    if pour_at is not None and axis.holds(pour_at):
        marks.append(f'<path class="limit" d="M{axis.x(pour_at):.1f} 0V{bottom:.1f}"/>')
    marks.append(f'<path class="axis" d="M{LEFT:g} {bottom:.1f}H{RIGHT:g}"/>')
    for moment, label in axis.ticks(7):
        x = axis.x(moment)
        marks.append(f'<path class="axis" d="M{x:.1f} {bottom:.1f}v4"/>')
        marks.append(text(min(max(x, 14.0), RIGHT - 14.0), bottom + 20.0, label, "middle"))
    caption = f"The fortnight: coats to come of {len(trees)} trees"
    return Markup(svg(bottom + 28.0, caption, marks))


def _bar(axis: TimeAxis, start: Millis, end: Millis, y: float, height: float, kind: str) -> str:
    end = axis.end if end == NEVER else min(end, axis.end)
    left, right = axis.x(max(start, axis.start)), axis.x(max(end, axis.start))
    width = max(right - left, 0.8)
    return f'<rect class="{kind}" x="{left:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:g}"/>'
