"""What can go wrong with a coat while it dries, seen or foreseen, each told in one line.

The wax moves: it shrinks as a drying coat cools it, and grows when the room warms it inside a coat that has
set, which is the commoner crack. A metre of pattern wax changes by about 0.15 mm for each kelvin (1.5e-4/K,
from memory, three times more or less), so that what is told of it is the swing in kelvin, and its strain with
that spread. It is the outer centimetre of wax that is followed here, which goes with the shell; the middle of
a thick wax swings less and later.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sensors.air import Air
from server.drying.shell import SpotShell
from server.drying.transfer import covers
from server.drying.warning_limits import DEFAULT_LIMITS, AirRange, WarningLimits

WAX_STRAIN_PER_K = 1.5e-4
STRAIN_SPREAD = 3.0
"""Thermal growth of pattern wax [1/K] (from memory), and the factor by which it may be more or less [-]."""

SWUNG_COATS = 3
"""So many coats are thin enough to crack when the wax in them grows; more carry it (common practice)."""

SAME_K = 0.5
"""What the wax moves by less than this is the same temperature [K] (assumed)."""

SET_LEFT = 0.1
"""A coat has set when no more than this share of its water is left where it dries soonest [-] (assumed).

And when it is as warm as the room but for `WARM_AGAIN_K`: that the wax warms again as a coat gets dry is
common to all coats, and is not what cracks them.
"""

WARM_AGAIN_K = 1.0


@dataclass(frozen=True)
class CoatClimate:
    """What a coat has been through; None where nothing is known of it yet.

    set_c: the lowest temperature of the wax with all coats on it set [°C]; grown_k: the most it has warmed
    since then [K]. The rest is of the time up to when the coat was fit.
    dip_c: temperature of the wax as it was dipped [°C]; coldest_c: the lowest since.
    The air: lowest and highest temperature [°C] and humidity [%], highest speed [m/s]; means over the
    `known_s` in which it was known [s]. warmest_c: the warmest the shell was [°C].
    """

    dip_c: float | None = None
    coldest_c: float | None = None
    set_c: float | None = None
    grown_k: float = 0.0
    air_low_c: float | None = None
    air_high_c: float | None = None
    rh_low_pct: float | None = None
    rh_high_pct: float | None = None
    fastest_m_s: float | None = None
    warmest_c: float | None = None
    known_s: float = 0.0
    temp_mean_c: float | None = None
    rh_mean_pct: float | None = None


NO_CLIMATE = CoatClimate()
"""Of a coat of which nothing is known yet."""


def climate_at_dip(number: int, wax_c: float | None, before: CoatClimate | None) -> CoatClimate:
    """The climate of coat `number` as it goes on, on wax that warm [°C], after the coat before it."""
    set_c = before.set_c if before is not None and number <= SWUNG_COATS else None
    return CoatClimate(dip_c=wax_c, coldest_c=wax_c, set_c=set_c)


def climate_after(
    climate: CoatClimate,
    number: int,
    air: Air,
    wax_c: float,
    has_set: bool,
    drying: bool,
    seconds: float = 0.0,
    warmest_c: float | None = None,
) -> CoatClimate:
    """After so many seconds in that air that left the wax that warm [°C], and the shell at its warmest.

    `has_set`: whether the newest coat has; `drying`: whether it was not fit before. Wax whose temperature at
    the dip is not known had that of the air.
    """
    dip_c = float(air.temp_c) if climate.dip_c is None else climate.dip_c
    set_c, grown = climate.set_c, climate.grown_k
    if set_c is not None:
        grown = max(grown, wax_c - set_c)
    if number <= SWUNG_COATS and has_set:
        set_c = wax_c if set_c is None else min(set_c, wax_c)
    after = replace(climate, dip_c=dip_c, set_c=set_c, grown_k=grown)
    if not drying:
        return after
    known = climate.known_s + seconds
    return replace(
        after,
        known_s=known,
        temp_mean_c=_mean(climate.temp_mean_c, float(air.temp_c), seconds, known),
        rh_mean_pct=_mean(climate.rh_mean_pct, float(air.rh_pct), seconds, known),
        warmest_c=climate.warmest_c if warmest_c is None else _high(climate.warmest_c, warmest_c),
        coldest_c=_low(climate.coldest_c, min(wax_c, dip_c)),
        air_low_c=_low(climate.air_low_c, air.temp_c),
        air_high_c=_high(climate.air_high_c, air.temp_c),
        rh_low_pct=_low(climate.rh_low_pct, air.rh_pct),
        rh_high_pct=_high(climate.rh_high_pct, air.rh_pct),
        fastest_m_s=_high(climate.fastest_m_s, air.speed_m_s),
    )


def wax_temp_c(shells: Sequence[SpotShell]) -> float | None:
    """The coldest place of the wax there [°C], as the middle member has it; None before any air."""
    places = [
        np.median(shell.wetness.temp_c.reshape(shell.members.count, -1).min(axis=1))
        for shell in shells
        if shell.wetness is not None and shell.aired
    ]
    return float(min(places)) if places else None


def shell_warmest_c(shells: Sequence[SpotShell]) -> float | None:
    """The warmest place of the shell there [°C], as the middle member has it; None before any air."""
    places = [
        np.median(shell.wetness.temp_c.reshape(shell.members.count, -1).max(axis=1))
        for shell in shells
        if shell.wetness is not None and shell.aired
    ]
    return float(max(places)) if places else None


def has_set(shells: Sequence[SpotShell], air: Air) -> bool:
    """Whether the newest coat has set where it dries soonest, in that air."""
    return any(
        float(np.median(shell.remaining())) <= SET_LEFT
        and float(np.median(shell.temp_c)) > float(air.temp_c) - WARM_AGAIN_K
        for shell in shells
    )


def coat_warnings(
    number: int, kind: str, climate: CoatClimate, limits: WarningLimits = DEFAULT_LIMITS
) -> tuple[str, ...]:
    """What is to be said of the wax and the air of a coat, a sentence each.

    >>> coat_warnings(1, "prime", CoatClimate(dip_c=21.0, coldest_c=12.5))[0]
    'The wax cooled by 8.5 K while this prime coat dried (limit 7 K): it shrinks by about 1 mm a metre \
(0.4-4).'
    >>> coat_warnings(2, "prime", CoatClimate(rh_low_pct=31.4, rh_high_pct=50.0))
    ('The air was outside what a prime coat wants: down to 31 %RH (40 to 75 %RH).',)
    """
    said = []
    cooled, grown = cooled_k(kind, climate), grown_k(number, climate)
    if cooled > limits.cooling_k:
        said.append(
            f"The wax cooled by {_two(cooled)} K while this prime coat dried "
            f"(limit {_two(limits.cooling_k)} K): it shrinks by {_strain_words(cooled)}."
        )
    if grown > limits.warming_k:
        said.append(
            f"The wax warmed by {_two(grown)} K inside a coat that had set "
            f"(limit {_two(limits.warming_k)} K): it grows by {_strain_words(grown)}; "
            "look for fine cracks before the next dip."
        )
    return (*said, *_air_words(kind, climate, limits.air_of(kind)))


def prewet_warning(hours_fit: float, limits: WarningLimits = DEFAULT_LIMITS) -> str | None:
    """What is to be said of a coat that has been fit for so long [h], if anything.

    >>> prewet_warning(60.0)
    'Dry for 2.5 days: pre-wet it before the next dip, or dry shell drinks the new slurry.'
    """
    if hours_fit <= limits.prewet_after_h:
        return None
    days = round(hours_fit / 12.0) / 2.0
    long = f"{days:g} days" if hours_fit >= 48.0 else f"{hours_fit:.0f} h"
    return f"Dry for {long}: pre-wet it before the next dip, or dry shell drinks the new slurry."


@dataclass(frozen=True)
class Swing:
    """How far the wax is expected to cool while a prime coat dries, and to grow inside a set coat [K]."""

    cooled_k: float
    grown_k: float


def swing_ahead(
    shell: SpotShell,
    number: int,
    kind: str,
    climate: CoatClimate,
    ahead: Sequence[tuple[float, Air | None]],
    drying: bool,
) -> Swing:
    """The swing at a spot through the air that is expected: stretches (seconds, air) one after the other.

    Only what is still to come counts: what the wax did before is told as seen. Where the air is not known,
    nothing moves. `drying`: whether the coat is not fit yet.
    """
    now = wax_temp_c((shell,))
    climate = replace(climate, coldest_c=now, set_c=None if climate.set_c is None else now, grown_k=0.0)
    for seconds, air in ahead:
        if air is None or not covers(air):
            continue
        shell = shell.advance(air, seconds)
        wax = wax_temp_c((shell,))
        if wax is not None:
            climate = climate_after(climate, number, air, wax, has_set((shell,), air), drying)
    coldest = climate.coldest_c
    gets_colder = now is None or (coldest is not None and coldest < now - SAME_K)
    return Swing(cooled_k(kind, climate) if gets_colder else 0.0, grown_k(number, climate))


def swing_words(swing: Swing, limits: WarningLimits = DEFAULT_LIMITS) -> str | None:
    """What is to be said of a swing that is expected overnight; None where it stays within its limits.

    >>> swing_words(Swing(0.0, 6.2))
    'If tonight’s air goes as last night’s did, the wax warms by about 6.2 K inside a coat that has set \
(limit 5 K): keep the room’s temperature even.'
    """
    said = []
    if swing.cooled_k > limits.cooling_k:
        said.append(
            f"cools by about {_two(swing.cooled_k)} K under a drying prime coat "
            f"(limit {_two(limits.cooling_k)} K)"
        )
    if swing.grown_k > limits.warming_k:
        said.append(
            f"warms by about {_two(swing.grown_k)} K inside a coat that has set "
            f"(limit {_two(limits.warming_k)} K)"
        )
    if not said:
        return None
    return (
        f"If tonight’s air goes as last night’s did, the wax {' and '.join(said)}: "
        "keep the room’s temperature even."
    )


def cooled_k(kind: str, climate: CoatClimate) -> float:
    """How far the wax was cooled under a prime coat [K]; other coats are stiff enough not to care."""
    if kind != "prime" or climate.dip_c is None or climate.coldest_c is None:
        return 0.0
    return max(climate.dip_c - climate.coldest_c, 0.0)


def grown_k(number: int, climate: CoatClimate) -> float:
    """How far the wax has warmed inside a thin shell that had set [K]."""
    return climate.grown_k if number <= SWUNG_COATS else 0.0


def _air_words(kind: str, climate: CoatClimate, wanted: AirRange) -> tuple[str, ...]:
    said = []
    for low, high, floor, ceiling, unit in (
        (climate.air_low_c, climate.air_high_c, wanted.low_c, wanted.high_c, "°C"),
        (climate.rh_low_pct, climate.rh_high_pct, wanted.rh_low_pct, wanted.rh_high_pct, "%RH"),
    ):
        reached = []
        if low is not None and low < floor:
            reached.append(f"down to {low:.0f} {unit}")
        if high is not None and high > ceiling:
            reached.append(f"up to {high:.0f} {unit}")
        if reached:
            said.append(f"{' and '.join(reached)} ({floor:g} to {ceiling:g} {unit})")
    fastest = climate.fastest_m_s
    if fastest is not None and fastest > wanted.fastest_m_s:
        said.append(f"up to {_two(fastest)} m/s (at most {wanted.fastest_m_s:g} m/s)")
    return (f"The air was outside what a {kind} coat wants: {', '.join(said)}.",) if said else ()


def _strain_words(swing_k: float) -> str:
    middle = 1000.0 * WAX_STRAIN_PER_K * swing_k
    low, high = middle / STRAIN_SPREAD, middle * STRAIN_SPREAD
    return f"about {middle:.1g} mm a metre ({low:.1g}-{high:.1g})"


def _two(value: float) -> str:
    return f"{value:.2g}"


def _mean(before: float | None, value: float, seconds: float, known_s: float) -> float | None:
    """A running mean, `value` having held for the last `seconds` of all that is known."""
    if before is None or known_s <= 0.0:
        return value
    return before + (value - before) * seconds / known_s


def _low(one: float | None, other: float) -> float:
    return float(other) if one is None else min(one, float(other))


def _high(one: float | None, other: float) -> float:
    return float(other) if one is None else max(one, float(other))
