"""The humidity over a saturated salt in a closed jar: the known points that a hygrometer is checked at.

Polynomials by L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", J. Res. Natl. Bur.
Stand. 81A (1977) 89-96. The coefficients are taken from later papers that quote him, not from the paper
itself, and the stated uncertainties from memory of its table; the tests hold both to that table's values.
"""

from bisect import bisect_right
from dataclasses import dataclass

LOWEST_C, HIGHEST_C = 0.0, 40.0
"""Temperatures of the jar [°C] for which uncertainties are at hand here; the paper itself goes on."""

_STEP_C = 5.0
_GAP_K = 0.1
_SLOPE_PER_K = 0.062
"""A sensor `_GAP_K` off the salt's temperature (assumed) misreads by this share a kelvin: the slope of the
saturation pressure of water at 20 °C over itself."""


class SaltRangeError(ValueError):
    """The jar is too cold or too hot: the message names the salt, the temperature and the limits."""


@dataclass(frozen=True)
class Salt:
    """A salt whose saturated solution holds the air above it at one humidity.

    `coefficients`: %RH = a0 + a1 t + a2 t² + a3 t³, t in °C. `errors`: stated uncertainty [%RH] at 0, 5 to
    40 °C. `caution`: what to mind with it.
    """

    code: str
    name: str
    coefficients: tuple[float, float, float, float]
    errors: tuple[float, ...]
    caution: str = ""


SALTS: dict[str, Salt] = {
    salt.code: salt
    for salt in (
        Salt(
            "LiCl",
            "lithium chloride",
            (11.2323, 0.00824245, -2.14890e-4, 0.0),
            (0.54, 0.47, 0.41, 0.35, 0.31, 0.27, 0.24, 0.22, 0.21),
            "Lithium chloride is harmful if swallowed and irritates skin and eyes.",
        ),
        Salt(
            "MgCl2",
            "magnesium chloride",
            (33.6686, -0.00797397, -1.08988e-3, 0.0),
            (0.33, 0.28, 0.24, 0.21, 0.18, 0.16, 0.14, 0.13, 0.13),
        ),
        Salt(
            "Mg(NO3)2",
            "magnesium nitrate",
            (60.3514, -0.298153, 0.0, 0.0),
            (0.55, 0.43, 0.33, 0.27, 0.23, 0.22, 0.24, 0.29, 0.37),
            "Magnesium nitrate is an oxidiser: keep it from anything that burns, wax and solvents first.",
        ),
        Salt(
            "NaCl",
            "sodium chloride",
            (75.5164, 0.0398321, -2.65459e-3, 2.848e-5),
            (0.34, 0.27, 0.22, 0.18, 0.14, 0.12, 0.11, 0.12, 0.13),
        ),
        Salt(
            "K2SO4",
            "potassium sulphate",
            (98.7792, -0.0590502, 0.0, 0.0),
            (1.10, 0.91, 0.76, 0.63, 0.53, 0.45, 0.40, 0.38, 0.38),
        ),
    )
}
"""The salts by their formula, from the driest to the dampest."""


def salt_humidity_pct(code: str, temp_c: float) -> float:
    """The humidity over a saturated solution of that salt at that temperature [%RH].

    Raises SaltRangeError outside 0 to 40 °C, KeyError where the salt is none of `SALTS`.

    >>> round(salt_humidity_pct("NaCl", 20.0), 1)
    75.5
    """
    salt = _in_range(code, temp_c)
    a0, a1, a2, a3 = salt.coefficients
    return a0 + temp_c * (a1 + temp_c * (a2 + temp_c * a3))


def salt_error_pct(code: str, temp_c: float) -> float:
    """How far off that humidity may be at a sensor in the jar [%RH], taken as one standard deviation.

    The uncertainty that the paper states, between its 5 °C steps by a straight line, and a sensor that is
    0.1 K (assumed) off the salt's temperature, squared and summed. Raises as `salt_humidity_pct` does.

    >>> round(salt_error_pct("NaCl", 25.0), 2), round(salt_error_pct("LiCl", 25.0), 2)
    (0.48, 0.28)
    """
    salt = _in_range(code, temp_c)
    at = min(bisect_right(range(len(salt.errors)), temp_c / _STEP_C) - 1, len(salt.errors) - 2)
    part = temp_c / _STEP_C - at
    stated = salt.errors[at] + (salt.errors[at + 1] - salt.errors[at]) * part
    apart = salt_humidity_pct(code, temp_c) * _SLOPE_PER_K * _GAP_K
    return float((stated**2 + apart**2) ** 0.5)


def _in_range(code: str, temp_c: float) -> Salt:
    salt = SALTS[code]
    if not LOWEST_C <= temp_c <= HIGHEST_C:
        raise SaltRangeError(
            f"the jar of {code} is at {temp_c:.1f} °C: its humidity is known here "
            f"from {LOWEST_C:g} to {HIGHEST_C:g} °C"
        )
    return salt
