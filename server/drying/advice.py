"""Which one measurement would narrow the forecast most: where, when, and by what.

For each that could be made, every member says how likely each outcome is. What is expected of the spread
after it is the spread under each outcome, weighed by how likely the outcome is: none has to be guessed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.drying import touch
from server.drying.instruments import Instruments
from server.drying.learning import Measured
from server.drying.looks import Look

Floats = NDArray[np.float64]

FAR_S = 14 * 24 * 3600.0
"""A member that sees no end is taken to come fit then [s]: the forecast's horizon."""

_STEPS = 24

USUAL = Instruments()


@dataclass(frozen=True)
class Candidate:
    """A measurement that could be made: of that kind at that spot, so many seconds from now.

    narrowed: expected spread of the time to fit after it over the spread before [-], both as standard
    deviations of its logarithm.
    """

    kind: Measured
    spot: str
    seconds: float
    narrowed: float


def best(candidates: Sequence[Candidate]) -> Candidate | None:
    """The one that is expected to narrow most; of equals the sooner one. None where there are none."""
    return min(candidates, key=lambda one: (round(one.narrowed, 3), one.seconds), default=None)


def weigh(
    kind: Measured,
    spot: str,
    seconds: float,
    look: Look,
    weights: Floats,
    fit_s: Floats,
    dried_kg: Floats | None = None,
    by: Instruments = USUAL,
) -> Candidate:
    """What is to be expected of one measurement.

    look: the spot at that moment. fit_s: (M,) when each member has the tree fit [s], infinite for never.
    dried_kg: (M,) how much lighter the tree will be than at its latest weighing [kg], for a weighing.
    by: how far off what is measured with may be.
    """
    outcomes = _outcomes(kind, spot, look, dried_kg, by)
    logs = np.log(np.clip(fit_s, 60.0, FAR_S))
    before = _variance(logs, weights)
    if before <= 0.0:
        return Candidate(kind, spot, seconds, 1.0)
    joint = outcomes * weights
    chance = joint.sum(axis=1)
    after = sum(
        share * _variance(logs, row / share)
        for share, row in zip(chance.tolist(), joint, strict=True)
        if share > 1e-12
    )
    return Candidate(kind, spot, seconds, float(np.sqrt(after / before)))


def _outcomes(kind: Measured, spot: str, look: Look, dried_kg: Floats | None, by: Instruments) -> Floats:
    """How likely each outcome is by each member, (outcomes, M); columns sum to 1."""
    in_pocket = spot.startswith("pocket")
    if kind == "touch":
        damp = touch.damp_chance(look.activity, in_pocket)
        return np.stack([damp, 1.0 - damp])
    if kind == "colour":
        dark = touch.dark_chance(look.saturation, in_pocket)
        return np.stack([dark, 1.0 - dark])
    if kind == "surface_temp":
        return _read_off(look.cooler_k, by.difference_k)
    if dried_kg is None:
        return np.ones((1, look.activity.size))
    # Two readings make a difference.
    return _read_off(dried_kg, np.sqrt(2.0) * by.weighing_kg)


def _read_off(foretold: Floats, error: float) -> Floats:
    """A reading with an error, in steps over all that is foretold."""
    values = np.linspace(foretold.min() - 2.0 * error, foretold.max() + 2.0 * error, _STEPS)
    likely = np.exp(-0.5 * ((values[:, None] - foretold) / error) ** 2) + 1e-12
    return np.asarray(likely / likely.sum(axis=0))


def _variance(values: Floats, weights: Floats) -> float:
    mean = weights @ values
    return float(weights @ np.square(values - mean))
