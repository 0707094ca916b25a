"""Members with their weights: what is believed of a place, and what that says of a figure, by quantiles."""

import hashlib
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.drying.materials import CENTRE, Members

Floats = NDArray[np.float64]

CONFIDENCE = 0.9
"""Weighted share of the members that must call a coat fit before it is called so [-] (a setting)."""

_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Ensemble:
    """The members that a place is judged by.

    weights: (M,) how far each is believed [-], sum 1.
    generation: 0 as drawn, one more each time something was learned or forgotten.
    seed: of the draw they go back to.
    """

    members: Members
    weights: Floats
    generation: int = 0
    seed: int = 0

    def __post_init__(self) -> None:
        if self.weights.shape != (self.members.count,):
            raise ValueError(f"{self.weights.shape} weights for {self.members.count} members")
        if not (np.isfinite(self.weights).all() and (self.weights >= 0.0).all() and self.weights.sum() > 0.0):
            raise ValueError("weights of members must be finite, not negative, and not all 0")
        object.__setattr__(self, "weights", self.weights / self.weights.sum())

    @property
    def key(self) -> str:
        """A name for what is believed: two ensembles of one name say the same."""
        told = hashlib.sha256(np.ascontiguousarray(self.weights).tobytes())
        for item in fields(Members):
            values = np.ascontiguousarray(getattr(self.members, item.name))
            told.update(f"{item.name}{values.shape}".encode() + values.tobytes())
        return f"{self.generation}-{told.hexdigest()[:24]}"

    @property
    def count(self) -> int:
        """How many members there are."""
        return self.members.count

    @property
    def effective_size(self) -> float:
        """Of how many equally believed members the weights are worth, 1/Σw² [-] (Kish).

        >>> Ensemble(CENTRE, np.ones(1)).effective_size
        1.0
        """
        return float(1.0 / (self.weights @ self.weights))

    def with_weights(self, weights: Floats, generation: int) -> "Ensemble":
        """The same members believed otherwise, in a later generation."""
        return replace(self, weights=weights, generation=generation)

    def share(self, holds: ArrayLike) -> float:
        """Weighted share of the members for which something holds, (M,) booleans [-]."""
        return float(self.weights @ np.asarray(holds, dtype=np.float64))

    def enough(self, holds: ArrayLike, confidence: float = CONFIDENCE) -> bool:
        """Whether it holds for so large a share of the members."""
        return self.share(holds) >= confidence - _ROUNDING

    def mean(self, values: ArrayLike) -> float:
        """Weighted mean of (M,) values."""
        return float(self.weights @ np.asarray(values, dtype=np.float64))

    def quantile(self, values: ArrayLike, level: float) -> float:
        """Weighted quantile of (M,) values, see `weighted_quantile`."""
        return weighted_quantile(values, self.weights, level)

    def spread(self, values: ArrayLike) -> tuple[float, float, float]:
        """Percentiles 10, 50 and 90 of (M,) values."""
        return self.quantile(values, 0.1), self.quantile(values, 0.5), self.quantile(values, 0.9)


def weighted_quantile(values: ArrayLike, weights: Floats, level: float) -> float:
    """A quantile of values with weights (sum 1), rounded outwards to one of the values.

    From one half up the least value that with all below it weighs `level`; below one half the greatest that
    with all below it weighs no more than that, or the least of all. So the band of a few members is wide
    rather than narrow, and the upper levels agree with `Ensemble.enough`. Values may be infinite, never NaN.

    >>> even = np.full(4, 0.25)
    >>> [weighted_quantile([4.0, 3.0, 2.0, 1.0], even, level) for level in (0.1, 0.3, 0.5, 0.9)]
    [1.0, 1.0, 2.0, 4.0]
    """
    given = np.asarray(values, dtype=np.float64)
    if np.isnan(given).any():
        raise ValueError("a value of a member is not a number")
    order = np.argsort(given, kind="stable")
    order = order[weights[order] > 0.0]
    reached = np.cumsum(weights[order])
    if level >= 0.5:
        at = int(np.searchsorted(reached, level - _ROUNDING))
    else:
        at = int(np.searchsorted(reached, level + _ROUNDING, side="right")) - 1
    return float(given[order[min(max(at, 0), order.size - 1)]])


ALONE = Ensemble(CENTRE, np.ones(1))
"""The centre alone: no spread is known."""
