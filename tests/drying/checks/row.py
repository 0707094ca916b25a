"""One line of the table of checks: what was found, what it is held to, and where that is from."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """`line` is the check's name, `case` which of its values; the rest is as it is printed."""

    line: str
    case: str
    got: str
    wanted: str
    bound: str
    source: str
    passed: bool


def near(
    line: str,
    case: str,
    got: float,
    wanted: float,
    source: str,
    *,
    share: float | None = None,
    off: float | None = None,
    unit: str = "",
    digits: int = 5,
) -> Row:
    """Held to a value, within a share of it or within so much of it."""
    if share is not None:
        bound, passed = f"{100.0 * share:g} %", abs(got - wanted) <= share * abs(wanted)
        found = f"{got:.{digits}g} ({got / wanted - 1.0:+.2%})"
    else:
        assert off is not None
        bound, passed = f"{off:g}{unit}", abs(got - wanted) <= off
        found = f"{got:.{digits}g} ({got - wanted:+.2g})"
    return Row(line, case, found + unit, f"{wanted:.{digits}g}{unit}", bound, source, passed)


def between(
    line: str, case: str, got: float, low: float, high: float, source: str, unit: str = "", said: str = ""
) -> Row:
    """Held between two values; `said` is what the source itself has."""
    wanted = said or f"{low:g} to {high:g}{unit}"
    bound = f"{low:g} to {high:g}{unit}"
    return Row(line, case, f"{got:.4g}{unit}", wanted, bound, source, low <= got <= high)


def at_most(line: str, case: str, got: float, most: float, source: str, unit: str = "") -> Row:
    """Held to no more than that, whatever its sign."""
    passed = abs(got) <= most
    return Row(line, case, f"{got:.2g}{unit}", f"0{unit}", f"{most:g}{unit}", source, passed)


def law(line: str, case: str, source: str, holds: Callable[[], None]) -> Row:
    """A law that holds for whatever it is tried on; what breaks it is said."""
    try:
        holds()
    except AssertionError as broken:
        words = str(broken).strip().splitlines()
        return Row(line, case, words[0][:60] if words else "broken", "holds", "exact", source, False)
    return Row(line, case, "holds", "holds", "exact", source, True)
