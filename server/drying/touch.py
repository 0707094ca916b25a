"""What a finger and an eye tell of a spot: "damp" or "dry" by touch, "dark" or "pale" by colour.

Each is a coin whose odds hang on the surface alone, not on the water below it: a finger feels whether the
surface still gives water off (its water activity), the eye sees whether its pores are still filled (its
saturation). Neither is ever certain: some answers are about another place, or wrong.
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

Felt = Literal["damp", "dry"]
Seen = Literal["dark", "pale"]

TOUCH_ACTIVITY = 0.85
"""Water activity of a surface that half of the fingers call damp [-] (assumed)."""

TOUCH_WIDTH = 0.04
"""How far from it, in activity, the odds are e to 1 [-] (assumed)."""

COLOUR_SATURATION = 0.15
"""Saturation of a surface that half of the eyes call dark [-] (assumed)."""

COLOUR_WIDTH = 0.04
"""How far from it, in saturation, the odds are e to 1 [-] (assumed)."""

MISTAKEN_SHARE = 0.1
"""One touch or look in so many says nothing of the spot: it is as a coin thrown (assumed) [-]."""

POCKET_MISTAKEN_SHARE = 0.9
"""The same in a pocket, whose floor a finger hardly reaches (assumed) [-]."""


def damp_chance(activity: Floats, in_pocket: bool = False) -> Floats:
    """How likely a finger calls surfaces of that water activity damp [-], same shape.

    >>> damp_chance(np.array([1.0, 0.85, 0.5])).round(2).tolist()
    [0.93, 0.5, 0.05]
    """
    return _chance((activity - TOUCH_ACTIVITY) / TOUCH_WIDTH, in_pocket)


def dark_chance(saturation: Floats, in_pocket: bool = False) -> Floats:
    """How likely an eye calls surfaces of that saturation dark [-], same shape.

    >>> dark_chance(np.array([0.5, 0.15, 0.02])).round(2).tolist()
    [0.95, 0.5, 0.08]
    """
    return _chance((saturation - COLOUR_SATURATION) / COLOUR_WIDTH, in_pocket)


def said_chance(word: str, activity: Floats, saturation: Floats, in_pocket: bool) -> Floats:
    """How likely that word is of such surfaces [-]. Raises ValueError for a word nobody says."""
    match word:
        case "damp":
            return damp_chance(activity, in_pocket)
        case "dry":
            return 1.0 - damp_chance(activity, in_pocket)
        case "dark":
            return dark_chance(saturation, in_pocket)
        case "pale":
            return 1.0 - dark_chance(saturation, in_pocket)
    raise ValueError(f"{word!r} is not one of damp, dry, dark, pale")


def disbelieved(word: str, chance: float, in_pocket: bool) -> float:
    """How likely a touch or look was mistaken, if that word had such a chance by the members [-].

    >>> round(disbelieved("dry", 0.05, in_pocket=False), 2)
    1.0
    """
    mistaken = 0.5 * (POCKET_MISTAKEN_SHARE if in_pocket else MISTAKEN_SHARE)
    return min(1.0, mistaken / max(chance, mistaken))


def _chance(odds: Floats, in_pocket: bool) -> Floats:
    mistaken = POCKET_MISTAKEN_SHARE if in_pocket else MISTAKEN_SHARE
    sure = 1.0 / (1.0 + np.exp(-np.clip(odds, -40.0, 40.0)))
    return np.asarray(0.5 * mistaken + (1.0 - mistaken) * sure)
