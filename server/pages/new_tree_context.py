"""What the form for a new tree is given: pictures of spots, sizes as buttons, trees to hang another like."""

from dataclasses import dataclass

from markupsafe import Markup

from server.drying.spots import SpotError, parse_spot
from server.pages.contexts import Frame
from server.pages.section import Layer, section_svg
from server.units import Units

SIZES_MM = (("small", 12.0), ("medium", 25.0), ("large", 80.0))
"""Lengths of a tree's faces along the air [mm]: rods and feathers, a figure's limbs, a bust. Assumed."""

MOUTHS_MM = (6.0, 12.0, 25.0)
DEPTHS_MM = (10.0, 25.0, 50.0)
HOLLOW_MOUTHS_MM = (25.0, 60.0, 120.0)
INSIDES_M2 = (0.05, 0.2, 0.6)
"""Sizes of pockets and hollows to pick from [mm, m²]; any other is typed. Assumed."""

_COATS = (Layer(0.6, 0.05), Layer(1.0, 0.2), Layer(1.0, 0.95))
"""How the pictures of spots are drawn: dry prime, drier backup, one backup coat just on."""


@dataclass(frozen=True)
class Chip:
    """One of several to choose from."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True)
class Figure:
    """A figure to pick by a button: what is put into the field, and the words on the button."""

    value: str
    words: str


@dataclass(frozen=True)
class PocketSizes:
    """Figures for pockets and hollows, by what they are of."""

    mouths: tuple[Figure, ...]
    depths: tuple[Figure, ...]
    hollow_mouths: tuple[Figure, ...]
    insides: tuple[Figure, ...]


@dataclass(frozen=True)
class Addition:
    """A picture to tap: it adds a spot of that code, called `name`."""

    code: str
    name: str
    words: str
    more: str
    picture: Markup


@dataclass(frozen=True)
class SpotLine:
    """One spot of the form: the caster's words, its code, what that is in words, and its picture."""

    name: str
    code: str
    kind: str
    picture: Markup
    fixed: bool


@dataclass(frozen=True)
class LikeLink:
    """A tree to hang another like."""

    href: str
    label: str
    more: str


@dataclass(frozen=True)
class NewTreePage:
    """A form for a tree that is to hang on the rack; `fault` says what was wrong with it the last time.

    `size` is in the shop's unit of length, `unit`, of which one is `mm_in_unit` millimetres.
    """

    frame: Frame
    fault: str
    like: str
    others: tuple[LikeLink, ...]
    place_name: str
    places: tuple[Chip, ...]
    recipes: tuple[Chip, ...]
    hooks: tuple[str, ...]
    sizes: tuple[Chip, ...]
    additions: tuple[Addition, ...]
    spot_lines: tuple[SpotLine, ...]
    pocket: PocketSizes
    label: str
    hook: str
    size: str
    unit: str
    mm_in_unit: str


def additions() -> tuple[Addition, ...]:
    """What can be added by its picture, corners first."""
    return (
        _addition("joint:30", "vent joint", "Tight", "corner, about 30°"),
        _addition("joint:60", "vent joint", "Middling", "corner, about 60°"),
        _addition("joint:90", "vent joint", "Open", "corner, about 90°"),
        _addition("pocket:12x25", "pocket", "Pocket", "a blind hole"),
        _addition("cavity:60x0.2", "hollow", "Hollow", "coated inside"),
    )


def spot_line(name: str, code: str, units: Units) -> SpotLine:
    """A line of the form as it was typed; a code that cannot be read is drawn as a face."""
    try:
        spot = parse_spot(code)
    except SpotError:
        return SpotLine(name, code, code, _picture("face", "a spot"), False)
    kind = units.said(spot.describe())
    return SpotLine(name, code, kind, _picture(spot.code, kind), spot.code == "face")


def blank_lines(count: int) -> tuple[SpotLine, ...]:
    """Lines for spots that were not named yet."""
    return (SpotLine("", "", "", Markup(), False),) * count


def size_chips(typed: str, units: Units) -> tuple[Chip, ...]:
    """Small, medium and large, in the shop's unit; the one that is typed is chosen."""
    return tuple(
        Chip(figure.value, f"{name.capitalize()}, {figure.words}", figure.value == typed.strip())
        for (name, mm) in SIZES_MM
        for figure in (_length(mm, units),)
    )


def pocket_sizes(units: Units) -> PocketSizes:
    """The buttons for pockets and hollows."""
    return PocketSizes(
        tuple(_length(mm, units) for mm in MOUTHS_MM),
        tuple(_length(mm, units) for mm in DEPTHS_MM),
        tuple(_length(mm, units) for mm in HOLLOW_MOUTHS_MM),
        tuple(Figure(f"{area:g}", f"{area:g} m²") for area in INSIDES_M2),
    )


def _length(mm: float, units: Units) -> Figure:
    figure = f"{units.length(mm):.2g}" if units.length_sign == "in" else f"{mm:g}"
    return Figure(figure, f"{figure} {units.length_sign}")


def _addition(code: str, name: str, words: str, more: str) -> Addition:
    return Addition(code, name, words, more, _picture(code, f"Picture: {words} {more}"))


def _picture(code: str, caption: str) -> Markup:
    return Markup(section_svg(code, _COATS, caption))
