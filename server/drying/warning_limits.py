"""The limits that a coat's warnings go by: figures of the shop, each with the bounds it may be set in."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any


class WarningLimitError(ValueError):
    """A limit that cannot be: the message names it, its value and its bounds."""


@dataclass(frozen=True)
class AirRange:
    """The air that a kind of coat wants while it dries [°C, %RH, m/s]."""

    low_c: float
    high_c: float
    rh_low_pct: float
    rh_high_pct: float
    fastest_m_s: float


@dataclass(frozen=True)
class WarningLimits:
    """When something is said of a coat.

    cooling_k: swing of the wax while a prime coat dries [K] (assumed: where the film is thinnest a wet coat
    cools it by about 6 K in air of 50 %RH).
    warming_k: growth of the wax inside a coat that has set [K] (assumed).
    prewet_after_h: how long a coat may have been fit before the next dip wants pre-wetting [h] (common
    practice: over a weekend).
    prime, backup: the air they want (from memory, the usual figures of shell rooms made wider); a seal coat
    wants what a backup coat does.
    """

    cooling_k: float = 7.0
    warming_k: float = 5.0
    prewet_after_h: float = 48.0
    prime: AirRange = AirRange(10.0, 27.0, 40.0, 75.0, 1.0)
    backup: AirRange = AirRange(10.0, 32.0, 20.0, 70.0, 5.0)

    def air_of(self, kind: str) -> AirRange:
        """The air that a kind of coat wants."""
        return self.prime if kind == "prime" else self.backup


DEFAULT_LIMITS = WarningLimits()

BOUNDS = {
    "cooling_k": (0.5, 30.0),
    "warming_k": (0.5, 30.0),
    "prewet_after_h": (1.0, 1000.0),
    "low_c": (-10.0, 60.0),
    "high_c": (-10.0, 60.0),
    "rh_low_pct": (0.0, 100.0),
    "rh_high_pct": (0.0, 100.0),
    "fastest_m_s": (0.0, 20.0),
}
"""The least and the most of each limit, by the last part of its name."""


def limits_said(said: Mapping[str, object] | None) -> WarningLimits:
    """The limits with those that were set in place of the usual ones, as `warming_k` or `prime.rh_low_pct`.

    Raises WarningLimitError for a name that is none and for a value outside its bounds.

    >>> limits_said({"warming_k": 3, "prime.rh_low_pct": 50}).prime.rh_low_pct
    50.0
    >>> limits_said({"warming_k": 0})
    Traceback (most recent call last):
    ...
    server.drying.warning_limits.WarningLimitError: warning limit warming_k 0 is outside 0.5 to 30
    """
    limits = DEFAULT_LIMITS
    for name, value in (said or {}).items():
        whole, _, part = name.partition(".")
        change: dict[str, Any] = {whole: _figure(name, value)}
        if part:
            change = {whole: replace(getattr(limits, whole), **{part: change[whole]})}
        limits = replace(limits, **change)
    for kind in ("prime", "backup"):
        air = limits.air_of(kind)
        if air.low_c >= air.high_c or air.rh_low_pct >= air.rh_high_pct:
            raise WarningLimitError(
                f"warning limits of a {kind} coat's air {asdict(air)} leave no air at all"
            )
    return limits


def limit_names() -> tuple[str, ...]:
    """Every name that `limits_said` knows."""
    plain = tuple(item.name for item in fields(WarningLimits) if item.type is float)
    return plain + tuple(f"{kind}.{item.name}" for kind in ("prime", "backup") for item in fields(AirRange))


def _figure(name: str, value: object) -> float:
    if name not in limit_names():
        raise WarningLimitError(f"warning limit {name!r} is not one of {', '.join(limit_names())}")
    low, high = BOUNDS[name.rpartition(".")[2]]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise WarningLimitError(f"warning limit {name} {value!r} is not a number")
    if not low <= value <= high:
        raise WarningLimitError(f"warning limit {name} {value:g} is outside {low:g} to {high:g}")
    return float(value)
