"""The picture that stands for a tree: a section of its shell at one spot, every coat to scale and as dark
as it is wet.

Wet slurry is dark, dry shell is pale: that is how a caster reads a shell, and it is all the colour there
is. The wax
has the plain fill of the page's style sheet. Coordinates in the picture are millimetres of shell times one
scale.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from html import escape

from server.verdicts import SpotVerdict

WIDTH, HEIGHT = 120.0, 90.0
"""The picture's own units."""

FILLET_MM = 2.0
"""Radius of the slurry's fillet in a corner [mm]; assumed, the model's default."""

WAX_WALL_MM = 6.0
"""Thickness of a hollow pattern's wax at its mouth [mm]; assumed, the model's default."""

DRY_SHADE, WET_SHADE = (236, 228, 213), (72, 58, 46)
"""The ends of the shade: dry shell and wet slurry, sRGB."""

_FAR = 1_000.0
"""Beyond the edge of any picture [mm]."""

MOST_KEPT = 500
"""So many pictures are kept drawn, each of some 2 kB: the rack's page shows one of each tree, ever again."""


@dataclass(frozen=True)
class Layer:
    """One coat in the picture: its thickness [mm] and how wet it is, 0 dry to 1 as just dipped."""

    thickness_mm: float
    wetness: float


def layers(
    thickness_mm: Sequence[float], water_kg_m2: Sequence[float], spot: SpotVerdict
) -> tuple[Layer, ...]:
    """The coats that are on, from the wax out, as the judge sees them at a spot.

    Where the judge says how wet each coat is, that is drawn. Where it only says how much water is left in
    all, that is spread evenly over the coats, because nothing more is known.

    >>> from scheduler.forecast import NEVER
    >>> spot = SpotVerdict("face", "face", 0.5, 0.5, 0.0, 20.0, 0.05, False, NEVER, (), ())
    >>> layers((0.6, 1.0), (0.2, 0.3), spot)
    (Layer(thickness_mm=0.6, wetness=0.3), Layer(thickness_mm=1.0, wetness=0.3))
    """
    count = len(thickness_mm)
    if len(spot.wetness) == count:
        wet = spot.wetness
    else:
        total = sum(water_kg_m2)
        wet = (spot.remaining * water_kg_m2[-1] / total if total > 0 else 0.0,) * count
    return tuple(Layer(mm, min(max(share, 0.0), 1.0)) for mm, share in zip(thickness_mm, wet, strict=True))


def shade(wetness: float) -> str:
    """The colour of shell that wet, as a hex triplet.

    >>> shade(0.0), shade(1.0), shade(7.0)
    ('#ece4d5', '#483a2e', '#483a2e')
    """
    part = min(max(wetness, 0.0), 1.0)
    mixed = (round(dry + (wet - dry) * part) for dry, wet in zip(DRY_SHADE, WET_SHADE, strict=True))
    return "#" + "".join(f"{channel:02x}" for channel in mixed)


def section_svg(
    code: str, coats: Sequence[Layer], caption: str, scale_bar: bool = False, mark: bool = False
) -> str:
    """Inline SVG of the shell at a spot code ("face", "joint:30", "pocket:12x40", "cavity:60x0.2"); other
    codes are drawn flat. With `mark` a ring is drawn around where it dries last."""
    return _drawn(
        code, tuple((coat.thickness_mm, shade(coat.wetness)) for coat in coats), caption, scale_bar, mark
    )


@lru_cache(MOST_KEPT)
def _drawn(code: str, coats: tuple[tuple[float, str], ...], caption: str, scale_bar: bool, mark: bool) -> str:
    """The picture; each of the coats is its thickness [mm] and its colour."""
    outline, mm_high, lowest = _drawing(code, sum(thickness for thickness, _ in coats))
    scale = HEIGHT / mm_high
    depth, depths = 0.0, [0.0]
    for thickness, _ in coats:
        depth += thickness
        depths.append(depth)
    parts = [
        f'<svg class="section" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{escape(caption)}">'
    ]
    # From the newest coat in: each one is drawn over the one outside it, so the lines never gape.
    for (_, colour), reach in zip(reversed(coats), reversed(depths[1:]), strict=True):
        newest = ' class="newest"' if reach == depths[-1] else ""
        parts.append(f'<path{newest} d="{outline(reach, scale)}" fill="{colour}"/>')
    parts.append(f'<path class="wax" d="{outline(0.0, scale)}"/>')
    if mark:
        x, y = WIDTH / 2, lowest(scale)
        parts.append(f'<circle class="slow" cx="{x:g}" cy="{y:.2f}" r="6"/>')
    if scale_bar:
        parts.append(_bar(scale))
    return "".join([*parts, "</svg>"])


Outline = Callable[[float, float], str]
"""Path data of everything under the surface that lies that many mm above the wax, at that scale
[units/mm]."""


Lowest = Callable[[float], float]
"""How far down in the picture the newest coat lies where it dries last, at that scale."""

Drawing = tuple[Outline, float, Lowest]
"""How to draw a spot, how many millimetres of it the picture is high, and where it dries last."""


def _drawing(code: str, thickness: float) -> Drawing:
    kind, _, size = code.partition(":")
    try:
        if kind == "joint":
            return _joint(math.radians(float(size)) / 2, thickness)
        if kind == "pocket":
            mouth, _, depth = size.partition("x")
            return _pocket(float(mouth), float(depth), thickness)
        if kind == "cavity":
            mouth, _, area = size.removesuffix(",blown").partition("x")
            return _cavity(float(mouth), float(area), thickness)
    except ValueError:
        pass
    return _face(thickness)


def _face(thickness: float) -> Drawing:
    high = max(6.0, thickness / 0.6)

    def outline(reach: float, scale: float) -> str:
        y = HEIGHT * 0.8 - reach * scale
        return f"M-5 {y:.2f}H{WIDTH + 5:g}V{HEIGHT + 5:g}H-5Z"

    return outline, high, lambda scale: HEIGHT * 0.8 - thickness * scale


def _joint(half: float, thickness: float) -> Drawing:
    """Two walls with an angle between them; every coat's surface is a line along each wall and the fillet's
    arc."""
    if not 0.0 < half < math.pi / 2:
        return _face(thickness)
    sine, cosine = math.sin(half), math.cos(half)
    middle = (thickness + FILLET_MM) / sine - FILLET_MM if thickness else 0.0
    high = max(8.0, middle / 0.74)

    def outline(reach: float, scale: float) -> str:
        radius = FILLET_MM if reach else 0.0
        centre = (reach + radius) / sine
        touch_x, touch_y = radius * cosine, centre - radius * sine
        far_x, far_y = touch_x + _FAR * sine, touch_y + _FAR * cosine

        def at(x: float, y: float) -> str:
            return f"{WIDTH / 2 + x * scale:.2f} {HEIGHT * 0.92 - y * scale:.2f}"

        size = radius * scale
        arc = f"A{size:.2f} {size:.2f} 0 0 0 {at(touch_x, touch_y)}" if radius else ""
        return (
            f"M{at(-far_x, far_y)}L{at(-touch_x, touch_y)}{arc}L{at(far_x, far_y)}"
            f"L{at(2 * _FAR, far_y)}L{at(2 * _FAR, -_FAR)}L{at(-2 * _FAR, -_FAR)}L{at(-2 * _FAR, far_y)}Z"
        )

    return outline, high, lambda scale: HEIGHT * 0.92 - middle * scale


def _pocket(mouth: float, depth: float, thickness: float) -> Drawing:
    """A hole in the wax, its walls and floor coated like the face around it."""
    if not (mouth > 0 and depth > 0 and math.isfinite(mouth) and math.isfinite(depth)):
        return _face(thickness)
    high = max((depth + thickness) / 0.82, mouth / 0.9, 6.0)

    def outline(reach: float, scale: float) -> str:
        top = HEIGHT * 0.9 - (depth + reach) * scale
        half = (mouth / 2 - reach) * scale
        floor = HEIGHT * 0.9 - reach * scale
        left, right = WIDTH / 2 - half, WIDTH / 2 + half
        hole = f"H{left:.2f}V{floor:.2f}H{right:.2f}V{top:.2f}" if half > 0 and floor > top else ""
        return f"M-5 {top:.2f}{hole}H{WIDTH + 5:g}V{HEIGHT + 5:g}H-5Z"

    return outline, high, lambda scale: HEIGHT * 0.9 - thickness * scale


def _cavity(mouth: float, area_m2: float, thickness: float) -> Drawing:
    """A hollow under its mouth, coated inside: a ball, drawn no larger than shows its coats and its mouth."""
    if not (mouth > 0 and area_m2 > 0 and math.isfinite(mouth) and math.isfinite(area_m2)):
        return _face(thickness)
    ball = 1000.0 * math.sqrt(area_m2 / (4.0 * math.pi))
    neck = WAX_WALL_MM + thickness
    shown = min(ball, max(1.5 * mouth, 8.0 * thickness, 10.0))
    high = max((2.0 * shown + neck) / 0.86, mouth / 0.9, 6.0)

    def outline(reach: float, scale: float) -> str:
        top = HEIGHT * 0.06 + (thickness - reach) * scale
        radius, half = shown - reach, mouth / 2 - reach
        middle = HEIGHT * 0.06 + (neck + shown) * scale
        hole = ""
        if 0.0 < half < radius:
            left, right = WIDTH / 2 - half * scale, WIDTH / 2 + half * scale
            meet = middle - math.sqrt(radius**2 - half**2) * scale
            size = radius * scale
            hole = f"H{left:.2f}V{meet:.2f}A{size:.2f} {size:.2f} 0 1 0 {right:.2f} {meet:.2f}V{top:.2f}"
        elif half > 0.0 and radius > 0.0:
            left, right = WIDTH / 2 - half * scale, WIDTH / 2 + half * scale
            floor = middle + radius * scale
            hole = f"H{left:.2f}V{floor:.2f}H{right:.2f}V{top:.2f}"
        elif radius > 0.0:  # its mouth is closed by the coats
            size = radius * scale
            ball_left, ball_right = WIDTH / 2 - size, WIDTH / 2 + size
            arc = f"A{size:.2f} {size:.2f} 0 1 0"
            closed = f"M{ball_left:.2f} {middle:.2f}{arc} {ball_right:.2f} {middle:.2f}"
            return (
                f"M-5 {top:.2f}H{WIDTH + 5:g}V{HEIGHT + 5:g}H-5Z{closed}{arc} {ball_left:.2f} {middle:.2f}Z"
            )
        return f"M-5 {top:.2f}{hole}H{WIDTH + 5:g}V{HEIGHT + 5:g}H-5Z"

    return outline, high, lambda scale: HEIGHT * 0.06 + (neck + 2.0 * shown - thickness) * scale


def _bar(scale: float) -> str:
    """A scale bar of a round number of millimetres."""
    length = next((mm for mm in (1, 2, 5, 10, 20, 50) if mm * scale >= 14), 100)
    end = 6 + length * scale
    return (
        f'<path class="bar" d="M6 82.5v3M6 84H{end:.2f}M{end:.2f} 82.5v3"/>'
        f'<text class="bar-text" x="{end + 2.5:.2f}" y="85.6">{length} mm</text>'
    )
