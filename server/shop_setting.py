"""What is known of a setting of the shop: what it does, in which range it may be, and what is usual."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "zone", "number", "whole", "time", "choice"]

LONGEST_NAME = 60


@dataclass(frozen=True)
class Setting:
    """One setting: its key, its group on the page, its name, and what it does in one sentence.

    `usual` is what holds where nothing was said; `least` and `most` are there for numbers; `choices` are
    pairs of a value and its words; `unit` is what a number is in. `set_on` is the page where it is set, ""
    for the page of settings itself.
    """

    key: str
    group: str
    name: str
    does: str
    kind: Kind
    usual: str
    unit: str = ""
    least: float | None = None
    most: float | None = None
    choices: tuple[tuple[str, str], ...] = ()
    set_on: str = ""

    @property
    def limits(self) -> str:
        """Its range in words."""
        if self.least is not None and self.most is not None:
            return f"{self.least:g} to {self.most:g} {self.unit}".strip()
        match self.kind:
            case "choice":
                return " or ".join(words for _, words in self.choices)
            case "time":
                return "00:00 to 23:59"
            case "zone":
                return "a name of the time zone database, like Europe/Helsinki"
            case _:
                return f"up to {LONGEST_NAME} signs"


def within(said: object, least: float, most: float, usual: float) -> float:
    """A number that was set, or what is usual where it cannot be.

    >>> within(7, 1.0, 100.0, 5.0), within("7", 1.0, 100.0, 5.0), within(700, 1.0, 100.0, 5.0)
    (7.0, 5.0, 5.0)
    """
    return float(said) if isinstance(said, int | float) and least <= said <= most else usual
