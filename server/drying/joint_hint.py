"""What the angle of a joint does to a coat's drying: against the tree's own flat face, and more open.

For a tree that is not there yet: one coat just on, over the recipe's older ones at rest in that air. The face
is the one that verdicts look at, the slow tenth of an open surface, so an open joint may well be quicker.
Each member is compared with itself: a ratio is far surer than either of its two times.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.ensemble import Ensemble
from server.drying.materials import CoatMaterial
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.verdict import tree_ahead
from server.drying.whatif import Spread

Floats = NDArray[np.float64]

SIGHT_S = 5 * 24 * 3600.0
"""So far ahead is reckoned [s]: someone waits for the answer, and whoever sees five days opens the corner."""


@dataclass(frozen=True)
class JointHint:
    """A joint's drying time and the flat face's [s]; `times_flat` their ratio by member [-].

    `opened` maps a more open angle [°] to what that saves [s]; percentiles are None beyond `SIGHT_S`.
    """

    joint: Spread
    flat: Spread
    times_flat: Spread
    opened: Mapping[float, Spread]


def seconds_to_fit(
    code: str, coats: Sequence[CoatMaterial], air: Air, size_mm: float, ensemble: Ensemble
) -> Floats:
    """When the last of those coats is fit at a spot, from its dip, by member (M,) [s].

    Infinite beyond `SIGHT_S`. Raises ValueError, with thing, value and limits, for what cannot be.
    """
    shell = SpotShell.bare(parse_spot(code), size_mm, members=ensemble.members)
    for older in coats[:-1]:
        shell = shell.dip(older)
    fresh = shell.at_equilibrium(float(air.rh_pct)).dip(coats[-1])
    # To the last member: what is not known of one would pass for what an angle saves.
    return tree_ahead([fresh], air, ensemble, SIGHT_S, confidence=1.0)[0].fit_s


def compared(joint: Floats, flat: Floats, opened: Mapping[float, Floats], ensemble: Ensemble) -> JointHint:
    """The hint, from times by member (M,) [s].

    >>> from server.drying.ensemble import ALONE
    >>> hint = compared(np.array([8.0]), np.array([2.0]), {60.0: np.array([3.0])}, ALONE)
    >>> hint.times_flat.p50, hint.opened[60.0].p50
    (4.0, 5.0)
    """
    ends = np.isfinite(joint) & np.isfinite(flat) & (flat > 0.0)
    ratio = np.full(joint.shape, np.inf)
    np.divide(joint, flat, out=ratio, where=ends)
    saved = {}
    for angle, other in opened.items():
        # What has no end in sight either way saves nothing.
        gain = np.zeros(joint.shape)
        np.subtract(joint, other, out=gain, where=np.isfinite(other))
        saved[angle] = _spread(gain, ensemble)
    return JointHint(_spread(joint, ensemble), _spread(flat, ensemble), _spread(ratio, ensemble), saved)


def _spread(values: Floats, ensemble: Ensemble) -> Spread:
    return Spread(*(None if np.isinf(value) else value for value in ensemble.spread(values)))
