"""Humidities over saturated salts, held to the values of Greenspan's own table (1977), from memory."""

import pytest

from sensors.salts import HIGHEST_C, LOWEST_C, SALTS, SaltRangeError, salt_error_pct, salt_humidity_pct

# J. Res. NBS 81A (1977), table 2, from memory: [%RH] at 5, 15, 20, 25, 30 and 40 °C.
TABLE = {
    "LiCl": (11.26, 11.30, 11.31, 11.30, 11.28, 11.21),
    "MgCl2": (33.60, 33.30, 33.07, 32.78, 32.44, 31.60),
    "Mg(NO3)2": (58.86, 55.87, 54.38, 52.89, 51.40, 48.42),
    "NaCl": (75.65, 75.61, 75.47, 75.29, 75.09, 74.68),
    "K2SO4": (98.48, 97.89, 97.59, 97.30, 97.00, 96.41),
}


@pytest.mark.parametrize("code", SALTS)
def test_the_polynomials_are_those_of_the_table(code: str) -> None:
    for temp_c, expected in zip((5.0, 15.0, 20.0, 25.0, 30.0, 40.0), TABLE[code], strict=True):
        assert salt_humidity_pct(code, temp_c) == pytest.approx(expected, abs=0.03), temp_c


# Stated uncertainties at 25 °C, same table, from memory.
@pytest.mark.parametrize(
    ("code", "stated"),
    [("LiCl", 0.27), ("MgCl2", 0.16), ("Mg(NO3)2", 0.22), ("NaCl", 0.12), ("K2SO4", 0.45)],
)
def test_the_error_is_the_stated_one_and_a_tenth_of_a_kelvin(code: str, stated: float) -> None:
    tenth = 0.062 * 0.1 * salt_humidity_pct(code, 25.0)
    assert salt_error_pct(code, 25.0) == pytest.approx((stated**2 + tenth**2) ** 0.5, rel=1e-6)
    between = salt_error_pct(code, 22.5)
    ends = sorted((salt_error_pct(code, 20.0), salt_error_pct(code, 25.0)))
    assert ends[0] - 0.01 <= between <= ends[1] + 0.01


@pytest.mark.parametrize("temp_c", [LOWEST_C - 0.1, HIGHEST_C + 0.1, float("nan")])
def test_outside_the_range_it_is_refused(temp_c: float) -> None:
    with pytest.raises(SaltRangeError, match="from 0 to 40 °C"):
        salt_humidity_pct("NaCl", temp_c)


def test_the_ends_of_the_range_are_in_it() -> None:
    assert salt_error_pct("NaCl", LOWEST_C) > 0.34
    assert salt_error_pct("NaCl", HIGHEST_C) > 0.13
