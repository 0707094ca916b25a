"""The places on a tree where dryness is judged, and the codes a person or a program names them by."""

import math
import re
from dataclasses import dataclass

SMALLEST_ANGLE_DEG = 15.0
LARGEST_ANGLE_DEG = 150.0
"""Included angles the joint's strip covers [°]; nearer to 180° a joint is a face."""

SMALLEST_POCKET_MM = 1.0
WIDEST_POCKET_MM = 300.0
DEEPEST_POCKET_MM = 500.0
"""Pocket sizes the stagnant column makes sense for [mm]."""


class SpotError(ValueError):
    """A spot that cannot be: the message names the thing, the value and the limits."""


@dataclass(frozen=True)
class FaceSpot:
    """A face or an edge: the slow tenth of the tree's open surface."""

    @property
    def code(self) -> str:
        """The canonical code."""
        return "face"

    def describe(self) -> str:
        """In words."""
        return "face"


@dataclass(frozen=True)
class JointSpot:
    """Where two members meet at an included angle [°]: a vent on a cup, a gate on a pattern."""

    angle_deg: float

    @property
    def code(self) -> str:
        """The canonical code."""
        return f"joint:{_plain(self.angle_deg)}"

    def describe(self) -> str:
        """In words."""
        return f"{_plain(self.angle_deg)}° joint"


@dataclass(frozen=True)
class PocketSpot:
    """A blind hole: mouth diameter and depth [mm]."""

    mouth_mm: float
    depth_mm: float

    @property
    def code(self) -> str:
        """The canonical code."""
        return f"pocket:{_plain(self.mouth_mm)}x{_plain(self.depth_mm)}"

    def describe(self) -> str:
        """In words."""
        return f"pocket {_plain(self.mouth_mm)} mm wide, {_plain(self.depth_mm)} mm deep"


@dataclass(frozen=True)
class CavitySpot:
    """A hollow coated inside: mouth diameter [mm], inside area [m²], and whether air is blown through it."""

    mouth_mm: float
    area_m2: float
    blown: bool = False

    @property
    def code(self) -> str:
        """The canonical code."""
        return f"cavity:{_plain(self.mouth_mm)}x{_plain(self.area_m2)}{',blown' if self.blown else ''}"

    def describe(self) -> str:
        """In words."""
        blown = ", air blown through" if self.blown else ""
        return f"hollow of {_plain(self.area_m2)} m² inside, mouth {_plain(self.mouth_mm)} mm wide{blown}"


Spot = FaceSpot | JointSpot | PocketSpot | CavitySpot

_NUMBER = r"([^x,\s]+)"
_FORMS = (
    "'face', 'joint:30' (degrees), 'pocket:12x40' (mouth x depth, mm) or 'cavity:60x0.2' (mm x m² inside)"
)


def parse_spot(code: str) -> Spot:
    """Read a spot's code.

    Raises SpotError, naming the thing, the value and the limits, when the code or a figure in it cannot be.

    >>> parse_spot("joint:30")
    JointSpot(angle_deg=30.0)
    >>> parse_spot("edge").code
    'face'
    >>> parse_spot("pocket:12x40").describe()
    'pocket 12 mm wide, 40 mm deep'
    >>> parse_spot("joint:181")
    Traceback (most recent call last):
    ...
    server.drying.spots.SpotError: joint angle 181° in 'joint:181' is outside 15° to 150°
    """
    text = code.strip().lower()
    if text in ("face", "edge"):
        return FaceSpot()
    if match := re.fullmatch(rf"joint:{_NUMBER}", text):
        low, high = SMALLEST_ANGLE_DEG, LARGEST_ANGLE_DEG
        return JointSpot(_figure("joint angle", match[1], "°", code, low, high))
    if match := re.fullmatch(rf"pocket:{_NUMBER}x{_NUMBER}", text):
        mouth = _figure("pocket mouth", match[1], " mm", code, SMALLEST_POCKET_MM, WIDEST_POCKET_MM)
        depth = _figure("pocket depth", match[2], " mm", code, 0.0, DEEPEST_POCKET_MM)
        return PocketSpot(mouth, depth)
    if match := re.fullmatch(rf"cavity:{_NUMBER}x{_NUMBER}(,blown)?", text):
        mouth = _figure("cavity mouth", match[1], " mm", code, 1.0, 2000.0)
        area = _figure("cavity inside area", match[2], " m²", code, 1e-4, 100.0)
        return CavitySpot(mouth, area, match[3] is not None)
    if re.fullmatch(r"cavity:.*,packed", text):
        raise SpotError(
            f"spot {code!r}: a cavity packed with core material cannot be judged, its core holds water that "
            "no model here knows; leave it out, and let whoever clears the tree look at the core"
        )
    raise SpotError(f"spot {code!r} is not one of {_FORMS}")


def _figure(thing: str, text: str, unit: str, code: str, lowest: float, highest: float) -> float:
    """One figure of a code, checked."""
    try:
        value = float(text)
    except ValueError:
        raise SpotError(f"{thing} {text!r} in {code!r} is not a number") from None
    if not math.isfinite(value):
        raise SpotError(f"{thing} {text!r} in {code!r} is not a finite number")
    if not lowest <= value <= highest:
        limits = f"{_plain(lowest)}{unit} to {_plain(highest)}{unit}"
        raise SpotError(f"{thing} {_plain(value)}{unit} in {code!r} is outside {limits}")
    return value


def _plain(value: float) -> str:
    """A figure as a person writes it: no trailing zeros, no exponent; it reads back as the same number."""
    text = repr(value)
    if "e" in text:
        text = f"{value:.12f}".rstrip("0").rstrip(".")
    return text.removesuffix(".0")
