"""Exponential and logarithm as plain arithmetic, so that a compiled loop over lanes takes several at once.

The C library's are called one number at a time, which would be most of the solver's time. Both follow the
usual reductions (Cody and Waite's for the exponential) with Taylor's series, and are good to about 2e-16.

Nothing is allowed of the compiler that changes results, not even one rounding for a product and a sum: how
it puts functions together may differ from one time to the next, and the numbers must not.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np

F = TypeVar("F", bound=Callable[..., Any])

_SHIFT = 6755399441055744.0
"""1.5 × 2⁵²: a number added to it is rounded to a whole one, which then stands in its lowest bits."""
_LOG2_E = 1.4426950408889634
_LN2_HIGH = 6.93147180369123816490e-01
_LN2_LOW = 1.90821492927058770002e-10
_LARGEST = 700.0
_MANTISSA = (1 << 52) - 1
_ONE_BITS = 1023 << 52
_ROOT_2 = 1.4142135623730951


def compiled(function: F) -> F:
    """The function for others that are compiled to call; they alone can."""
    options: Any = {"nogil": True, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
    return cast(F, numba.njit(error_model="numpy", **options)(function))


def entrance(function: F) -> F:
    """The function for Python to call: compiled at its first call, kept on disk, run without the lock."""
    options: Any = {"nogil": True, "cache": True, "no_cfunc_wrapper": True}
    return cast(F, numba.njit(error_model="numpy", **options)(function))


def inlined(function: F) -> F:
    """The same for a small function of numbers, made part of the loop that calls it."""
    return cast(F, numba.njit(inline="always", error_model="numpy")(function))


@compiled
def copy_rows(source: np.ndarray, target: np.ndarray, rows: int) -> None:
    """The first rows of one array to the other: a slice's own copy would be far more to compile."""
    for row in range(rows):
        for lane in range(target.shape[1]):
            target[row, lane] = source[row, lane]


@inlined
def _parted(x: float) -> tuple[float, float]:
    """2^k and exp(r) − 1 of x = k ln 2 + r; what is beyond ±700 is taken as that."""
    x = min(max(x, -_LARGEST), _LARGEST)
    shifted = x * _LOG2_E + _SHIFT
    whole = shifted - _SHIFT
    r = x - whole * _LN2_HIGH - whole * _LN2_LOW
    power = np.int64((np.float64(shifted).view(np.int64) + 1023) << 52).view(np.float64)
    q = 1.0 / 6227020800.0
    q = q * r + 1.0 / 479001600.0
    q = q * r + 1.0 / 39916800.0
    q = q * r + 1.0 / 3628800.0
    q = q * r + 1.0 / 362880.0
    q = q * r + 1.0 / 40320.0
    q = q * r + 1.0 / 5040.0
    q = q * r + 1.0 / 720.0
    q = q * r + 1.0 / 120.0
    q = q * r + 1.0 / 24.0
    q = q * r + 1.0 / 6.0
    q = q * r + 0.5
    return power, (q * r) * r + r


@inlined
def expm1_of(x: float) -> float:
    """exp(x) − 1; what is beyond ±700 is taken as that."""
    power, q = _parted(x)
    return power * q + (power - 1.0)


@inlined
def exp_of(x: float) -> float:
    """exp(x); what is beyond ±700 is taken as that."""
    power, q = _parted(x)
    return power * q + power


@inlined
def _log_of(u: float, lost: float) -> float:
    """ln(u (1 + lost)) for u above 0 and a `lost` of rounding's size."""
    bits = np.float64(u).view(np.int64)
    exponent = float((bits >> 52) - 1023)
    m = np.int64((bits & _MANTISSA) | _ONE_BITS).view(np.float64)
    upper = m > _ROOT_2
    m = 0.5 * m if upper else m
    exponent = exponent + 1.0 if upper else exponent
    s = (m - 1.0) / (m + 1.0)
    s2 = s * s
    q = 1.0 / 23.0
    q = q * s2 + 1.0 / 21.0
    q = q * s2 + 1.0 / 19.0
    q = q * s2 + 1.0 / 17.0
    q = q * s2 + 1.0 / 15.0
    q = q * s2 + 1.0 / 13.0
    q = q * s2 + 1.0 / 11.0
    q = q * s2 + 1.0 / 9.0
    q = q * s2 + 1.0 / 7.0
    q = q * s2 + 1.0 / 5.0
    q = q * s2 + 1.0 / 3.0
    q = 2.0 * s * (q * s2 + 1.0)
    return exponent * _LN2_HIGH + (q + (exponent * _LN2_LOW + lost))


@inlined
def log1p_of(y: float) -> float:
    """ln(1 + y) for y above −1."""
    u = 1.0 + y
    return _log_of(u, (y - (u - 1.0)) / u)


@inlined
def log_of(x: float) -> float:
    """ln(x) for x above 0."""
    return _log_of(x, 0.0)


@inlined
def power_of(x: float, exponent: float) -> float:
    """x to the power of an exponent, for x above 0."""
    return exp_of(exponent * _log_of(x, 0.0))
