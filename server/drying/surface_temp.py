"""What an infrared thermometer tells: how much colder a spot is than a dry shell on the same rack.

Evaporation cools: a spot that is as warm as a dry shell has done with it. The difference of two readings with
one thermometer leaves out its calibration and most of the emissivity. Where no dry shell was read, the air
stands in for it, and the error is that of a thermometer's own scale.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ERROR_K = 0.5
"""Of a difference to a dry reference shell read with the same thermometer [K] (assumed)."""

ERROR_TO_AIR_K = 1.5
"""Of a surface's reading against the air's own sensor [K]: a thermometer's data sheet says 1 to 2 K."""

ABSURD_SHARE = 0.05
"""One reading in so many is not of this spot: the beam was wider than it, or warm hands were near [-]
(assumed)."""

ABSURD_RANGE_K = 30.0
"""Where an absurd reading may lie, anywhere alike [K] (assumed)."""


def log_likelihood(cooler_by_k: float, foretold_k: Floats, error_k: float = ERROR_K) -> Floats:
    """How well (M,) members foretold the difference, dry reference less spot [K], (M,)."""
    likely = np.exp(-0.5 * ((cooler_by_k - foretold_k) / error_k) ** 2) / (np.sqrt(2.0 * np.pi) * error_k)
    return np.asarray(np.log((1.0 - ABSURD_SHARE) * likely + ABSURD_SHARE / ABSURD_RANGE_K))


def disbelieved(cooler_by_k: float, foretold_k: Floats, weights: Floats, error_k: float = ERROR_K) -> float:
    """How likely the reading is absurd, by (M,) members of such weights as they were before it [-].

    >>> one = np.ones(1)
    >>> disbelieved(2.0, 2.0 * one, one) < 0.01, disbelieved(12.0, 2.0 * one, one) > 0.99
    (True, True)
    """
    absurd = ABSURD_SHARE / ABSURD_RANGE_K
    return float(absurd / (weights @ np.exp(log_likelihood(cooler_by_k, foretold_k, error_k))))
