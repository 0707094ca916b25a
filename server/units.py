"""The units a person reads and types: °C or °F, mm or in, kg or lb. Inside and in the API all is SI.

1 in is 25.4 mm and 1 lb is 0.45359237 kg by definition (international yard and pound agreement, 1959).
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

from server.settings_table import LENGTH_UNIT, MASS_UNIT, TEMPERATURE_UNIT
from server.store import shop
from server.store.engine import Engine

MM_IN_INCH = 25.4
KG_IN_POUND = 0.45359237

_FIGURE = r"(?<![\w.])([-−]?\d+(?:\.\d+)?)"
_TEMP = re.compile(rf"{_FIGURE}(?:( to |-){_FIGURE})? °C")
_SPAN = re.compile(rf"{_FIGURE} K\b")
_MASS = re.compile(rf"{_FIGURE} kg\b(?!/)")
_LENGTH = re.compile(rf"{_FIGURE} mm\b")


@dataclass(frozen=True)
class Units:
    """The shop's units. Values go in and out in SI: °C, K, mm, kg."""

    temp_sign: str = "°C"
    length_sign: str = "mm"
    mass_sign: str = "kg"

    def temp(self, temp_c: float) -> float:
        """A temperature [°C] in the shop's unit.

        >>> Units(temp_sign="°F").temp(21.0)
        69.8
        """
        return round(temp_c * 1.8 + 32.0, 9) if self.temp_sign == "°F" else temp_c

    def temp_c(self, typed: float) -> float:
        """A temperature typed in the shop's unit, in °C."""
        return (typed - 32.0) / 1.8 if self.temp_sign == "°F" else typed

    def temp_words(self, temp_c: float, digits: int = 1) -> str:
        """A temperature [°C] with its unit.

        >>> Units().temp_words(21.04), Units(temp_sign="°F").temp_words(21.04, 0)
        ('21.0 °C', '70 °F')
        """
        return f"{self.temp(temp_c):.{digits}f} {self.temp_sign}"

    @property
    def step_sign(self) -> str:
        """The sign of a difference of temperatures."""
        return "°F" if self.temp_sign == "°F" else "K"

    def step(self, kelvin: float) -> float:
        """A difference of temperatures [K] in the shop's unit.

        >>> Units(temp_sign="°F").step(5.0)
        9.0
        """
        return 1.8 * kelvin if self.temp_sign == "°F" else kelvin

    def kelvin(self, typed: float) -> float:
        """A difference of temperatures typed in the shop's unit, in K."""
        return typed / 1.8 if self.temp_sign == "°F" else typed

    def mass(self, kg: float) -> float:
        """A weight [kg] in the shop's unit."""
        return kg / KG_IN_POUND if self.mass_sign == "lb" else kg

    def kg(self, typed: float) -> float:
        """A weight typed in the shop's unit, in kg."""
        return typed * KG_IN_POUND if self.mass_sign == "lb" else typed

    def mass_words(self, kg: float) -> str:
        """A weight [kg] with its unit, to a gram or so.

        >>> Units().mass_words(4.5), Units(mass_sign="lb").mass_words(4.5)
        ('4.500 kg', '9.921 lb')
        """
        return f"{self.mass(kg):.3f} {self.mass_sign}"

    def length(self, mm: float) -> float:
        """A length [mm] in the shop's unit."""
        return mm / MM_IN_INCH if self.length_sign == "in" else mm

    def mm(self, typed: float) -> float:
        """A length typed in the shop's unit, in mm."""
        return typed * MM_IN_INCH if self.length_sign == "in" else typed

    def said(self, sentence: str) -> str:
        """A sentence of this program with its figures in the shop's units.

        >>> Units(temp_sign="°F").said("The wax warms by about 5 K, from 10 to 15 °C.")
        'The wax warms by about 9 °F, from 50 to 59 °F.'
        >>> Units(length_sign="in", mass_sign="lb").said("a mouth 12 mm wide, 4.5 kg")
        'a mouth 0.47 in wide, 9.92 lb'
        """
        if self.temp_sign == "°F":
            sentence = _TEMP.sub(self._temps, sentence)
            sentence = _SPAN.sub(lambda found: f"{_like(found[1], self.step)} °F", sentence)
        if self.mass_sign == "lb":
            sentence = _MASS.sub(lambda found: f"{_number(found[1]) / KG_IN_POUND:.3g} lb", sentence)
        if self.length_sign == "in":
            sentence = _LENGTH.sub(lambda found: f"{_number(found[1]) / MM_IN_INCH:.2g} in", sentence)
        return sentence

    def _temps(self, found: re.Match[str]) -> str:
        between, second = found[2], found[3]
        more = f"{between}{_like(second, self.temp)}" if second else ""
        return f"{_like(found[1], self.temp)}{more} °F"


SI = Units()
"""°C, mm and kg."""


def units_of(engine: Engine) -> Units:
    """The units as the shop set them; a setting that cannot be is as if it were not there."""
    return Units(
        "°F" if shop.setting(engine, TEMPERATURE_UNIT) == "F" else "°C",
        "in" if shop.setting(engine, LENGTH_UNIT) == "in" else "mm",
        "lb" if shop.setting(engine, MASS_UNIT) == "lb" else "kg",
    )


def _number(figure: str) -> float:
    return float(figure.replace("−", "-"))


def _like(figure: str, change: Callable[[float], float]) -> str:
    """A figure after a change, with as many places behind the point as it had, one at most.

    A small one keeps two figures: a limit of 1 K is 1.8 °F and not 2 °F.

    >>> [_like(figure, lambda kelvin: 1.8 * kelvin) for figure in ("6.2", "6", "1", "0.01")]
    ['11.2', '11', '1.8', '0.018']
    """
    places, changed = min(len(figure.partition(".")[2]), 1), change(_number(figure))
    return f"{changed:.2g}" if 0.0 < abs(changed) < 10.0 else f"{changed:.{places}f}"
