"""The pieces every chart is drawn with: inline SVG in `currentColor`, text at one size, lines by dash."""

from collections.abc import Sequence
from html import escape

from server.pages.axes import TimeAxis, ValueAxis

WIDTH = 358.0
LEFT, RIGHT = 36.0, 268.0
DASHES = ("", "7 3", "2 3", "9 3 2 3", "4 5", "12 4 2 4 2 4")
"""The line that matters most is drawn whole and heavy; the others take the dashes in order."""


def time_labels(axis: TimeAxis, bottom: float) -> list[str]:
    """The time axis, with its ticks and labels."""
    marks = [f'<path class="axis" d="M{LEFT:g} {bottom:.1f}H{RIGHT:g}"/>']
    for moment, label in axis.ticks():
        x = axis.x(moment)
        marks.append(f'<path class="axis" d="M{x:.1f} {bottom:.1f}v4"/>')
        marks.append(text(min(max(x, 14), RIGHT), bottom + 20, label, "middle"))
    return marks


def level(scale: ValueAxis, value: float, label: str) -> str:
    """A line across at a value, with its label on the left."""
    y = scale.y(value)
    line = f'<path class="grid" d="M{LEFT:g} {y:.1f}H{RIGHT:g}"/>'
    return line + text(LEFT - 5, y + 5, label, "end")


def polyline(points: Sequence[tuple[float, float]]) -> str:
    """The path through those points."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def stroke(rank: int, dash: bool = True) -> str:
    """How a line is drawn: rank 0 heavy and whole, the others thin and dashed."""
    weight = "2.6" if rank == 0 else "1.5"
    pattern = DASHES[rank % len(DASHES)] if dash else ""
    dashes = f' stroke-dasharray="{pattern}"' if pattern else ""
    return f'fill="none" stroke="currentColor" stroke-width="{weight}"{dashes}'


def text(x: float, y: float, words: str, anchor: str) -> str:
    """Words in the picture."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def polygon(points: Sequence[tuple[float, float]]) -> str:
    """The outline of the surface between those points."""
    return polyline(points) + "Z"


def point_mark(
    x: float, y: float, words: str, filled: bool = True, error: tuple[float, float] | None = None
) -> str:
    """A measured point, which says its words when it is pointed at; `error` is where its bar ends (y, y)."""
    bar = "" if error is None else f'<path class="error" d="M{x:.1f} {error[0]:.1f}V{error[1]:.1f}"/>'
    kind = "point" if filled else "point open"
    circle = f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="4.5">'
    return f"{bar}{circle}<title>{escape(words)}</title></circle>"


def svg(height: float, caption: str, body: Sequence[str], read: str = "") -> str:
    """The whole picture, which a screen reader calls by its caption; `read` is what can be read along it."""
    inside = "".join(body)
    to_read = f' data-read="{escape(read)}"' if read else ""
    return (
        f'<svg class="chart" viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label="{escape(caption)}"'
        f"{to_read}>{inside}</svg>"
    )
