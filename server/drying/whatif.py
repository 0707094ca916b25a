"""What would save time: the same coat with a fan, in drier or warmer air, or at a joint that is more open.

Fan and air are tried on the coat as it is now, from here on. An opened joint is for the next tree: there the
whole coat is reckoned anew from its dip, on both. What may hurt the shell is not tried at all, and the row
says why: never a fan, heat or drier air on a prime coat, never heat on a thin shell, which the wax would grow
in, or near where wax softens, never air outside what the coat wants.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from sensors.humid_air import relative_humidity_pct, vapour_pressure_pa
from server.drying.build import build
from server.drying.ensemble import ALONE, Ensemble
from server.drying.estimate import MOST_LAYERS, older_coats
from server.drying.materials import CENTRE, DRY_THROUGH_LIMIT, MaterialError, Members, coat
from server.drying.shell import SpotShell
from server.drying.spots import CavitySpot, JointSpot, Spot, parse_spot
from server.drying.verdict import HORIZON_S, tree_ahead
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimits
from server.drying.warnings import SWUNG_COATS

Floats = NDArray[np.float64]

FAN_M_S = 1.5
"""Air speed a shop fan makes at the tree [m/s] (common practice: a breeze one feels)."""

DRIER_PCT = 10.0
WARMER_K = 3.0
OPENED_DEG = (60.0, 90.0)

WAX_WARMEST_C = 35.0
"""No warmer air is suggested [°C]: ten kelvin (assumed) below where pattern wax softens (45, from memory)."""

WATER_OF_PROPANE = 1.6
"""Water that a kilogram of propane burns to [kg/kg]: C₃H₈ + 5 O₂ → 3 CO₂ + 4 H₂O."""

HEATER_NOTE = (
    "A heater without a flue adds carbon monoxide to the room, and 1.6 kg of water to its air for each "
    "kilogram of propane: warm with a dry source."
)

HELD_NOTE = (
    "A coat is held to the air it hangs in: drier air takes its water faster, but also asks the older coats "
    "to be drier before it is called fit."
)

ChangeCode = Literal["fan", "drier", "warmer", "blown", "joint:60", "joint:90"]


@dataclass(frozen=True)
class Spread:
    """Percentiles 10, 50 and 90 over the members [s]; None where it has no end in sight."""

    p10: float | None
    p50: float | None
    p90: float | None


NO_END = Spread(None, None, None)


@dataclass(frozen=True)
class Change:
    """One thing that could be done: when the tree would be fit, and what that saves; or why it is not tried.

    fit_after: from now, for an opened joint from the dip [s]. saved: against the same without it [s], below 0
    where it takes longer; None where without it there is no end in sight.
    """

    code: ChangeCode
    words: str
    refused: str = ""
    fit_after: Spread = NO_END
    saved: Spread = NO_END


@dataclass(frozen=True)
class WhatIf:
    """When the tree is fit if nothing is done [s from now], and what could be done; notes are cautions."""

    as_it_is: Spread
    changes: tuple[Change, ...]
    notes: tuple[str, ...] = (HEATER_NOTE,)


def what_if(
    shells: Sequence[SpotShell],
    air: Air,
    last_coat: bool = False,
    ensemble: Ensemble = ALONE,
    limits: WarningLimits = DEFAULT_LIMITS,
    fit_already: bool = False,
    dry_limit: float = DRY_THROUGH_LIMIT,
) -> WhatIf:
    """All changes for a tree's spots, whose newest coat is drying in that air; the last coat to dry through.

    dry_limit: water over dry mass that a shell which is dry through may hold [-].
    The shells' members are those of the ensemble. A coat that came fit stays so (`fit_already`), in whatever
    air. Raises ValueError where there is no coat to dry.
    """
    if not shells or not shells[0].coats:
        raise ValueError("there is no coat on the tree whose drying could be changed")
    through = dry_limit if last_coat else None
    as_it_is = np.zeros(ensemble.count) if fit_already else _seconds(shells, air, through, ensemble)
    kind, fit = shells[0].coats[-1].kind, ""
    if (as_it_is == 0.0).all():
        fit = "It is dry through already." if last_coat else "It is fit already."
    changes = [
        _changed(code, words, refused, shells, other, as_it_is, through, ensemble)
        for code, words, refused, other in other_airs(kind, len(shells[0].coats), air, fit, limits)
    ]
    blown = [_blown(shell) for shell in shells]
    if any(one is not shell for one, shell in zip(blown, shells, strict=True)):
        words, refused = "air blown through the hollow", _refused_at_all(kind, fit)
        changes.append(_changed("blown", words, refused, blown, air, as_it_is, through, ensemble))
    fresh = None
    for angle in OPENED_DEG:
        code: ChangeCode = "joint:60" if angle == OPENED_DEG[0] else "joint:90"
        words = f"joints opened to {angle:g}° (on the next tree)"
        opened = [_opened(shell.spot, angle) for shell in shells]
        if opened == [shell.spot for shell in shells]:
            changes.append(Change(code, words, refused=f"No joint is sharper than {angle:g}°."))
            continue
        if fresh is None:
            fresh = _seconds([_anew(shell, shell.spot, air) for shell in shells], air, through, ensemble)
        anew = [_anew(shell, spot, air) for shell, spot in zip(shells, opened, strict=True)]
        changes.append(compared(code, words, fresh, _seconds(anew, air, through, ensemble), ensemble))
    asks_more = any(change.saved.p10 is not None and change.saved.p10 < 0.0 for change in changes)
    notes = (HEATER_NOTE, HELD_NOTE) if asks_more else (HEATER_NOTE,)
    return WhatIf(_spread(as_it_is, ensemble), tuple(changes), notes)


def other_airs(
    kind: str, coats: int, air: Air, never: str = "", limits: WarningLimits = DEFAULT_LIMITS
) -> list[tuple[ChangeCode, str, str, Air]]:
    """Each change of the air: its code, words, why it is not tried ("" where it is), and the air.

    kind, coats: of the coat that dries, and the how manyth it is. `never`: why none of them is; "" where some
    may be.
    """
    wanted = limits.air_of(kind)
    drier = air.rh_pct - DRIER_PCT
    warmer = air.temp_c + WARMER_K
    warm_rh = float(relative_humidity_pct(warmer, vapour_pressure_pa(air.temp_c, air.rh_pct)))
    never = _refused_at_all(kind, never)
    fan_refused = drier_refused = warmer_refused = never
    if not never:
        if air.speed_m_s >= FAN_M_S:
            fan_refused = f"The air moves at {air.speed_m_s:.1f} m/s already."
        if drier < wanted.rh_low_pct:
            drier_refused = f"Under {wanted.rh_low_pct:g} %RH a {kind} coat would dry too fast."
        warmest = min(wanted.high_c, WAX_WARMEST_C)
        if coats <= SWUNG_COATS:
            warmer_refused = f"Not before coat {SWUNG_COATS + 1}: the wax would grow inside a thin shell."
        elif warmer > warmest:
            warmer_refused = f"Over {warmest:g} °C is too near to where wax softens."
    return [
        ("fan", f"a fan, {FAN_M_S:g} m/s at the tree", fan_refused, replace(air, speed_m_s=FAN_M_S)),
        (
            "drier",
            f"air {DRIER_PCT:g} %RH drier",
            drier_refused,
            replace(air, rh_pct=max(drier, 0.0)),
        ),
        (
            "warmer",
            f"air {WARMER_K:g} °C warmer, with the same water in it",
            warmer_refused,
            replace(air, temp_c=warmer, rh_pct=warm_rh),
        ),
    ]


def _refused_at_all(kind: str, never: str) -> str:
    """Why no air may be changed on this coat; "" where it may."""
    if kind == "prime":
        return "Never on a prime coat: it would dry too fast and crack."
    return never


def _changed(
    code: ChangeCode,
    words: str,
    refused: str,
    shells: Sequence[SpotShell],
    air: Air,
    as_it_is: Floats,
    through: float | None,
    ensemble: Ensemble,
) -> Change:
    if refused:
        return Change(code, words, refused)
    return compared(code, words, as_it_is, _seconds(shells, air, through, ensemble), ensemble)


def compared(code: ChangeCode, words: str, before: Floats, after: Floats, ensemble: Ensemble) -> Change:
    """Each member against itself: what is saved is far surer than either time."""
    # What has no end either way saves nothing; what has one only with the change saves without measure.
    ends = np.isfinite(after)
    saved = np.zeros_like(before)
    np.subtract(before, after, out=saved, where=ends)
    return Change(code, words, fit_after=_spread(after, ensemble), saved=_spread(saved, ensemble))


def fresh_shells(
    kind: str,
    layer: int,
    air: Air,
    size_mm: float,
    fillet_mm: float,
    spots: Sequence[str],
    members: Members = CENTRE,
) -> tuple[SpotShell, ...]:
    """Shells of a tree that is not there: one coat just on, over the usual ones at rest in that air.

    Layer 1 is on the wax; size (length of the face along the air) and fillet radius in mm. Raises ValueError,
    with thing, value and limits, for what cannot be.
    """
    if not 1 <= layer <= MOST_LAYERS:
        raise MaterialError(f"layer {layer} is outside 1 to {MOST_LAYERS}")
    if not 0.0 <= air.rh_pct <= 100.0:
        raise ValueError(f"relative humidity {air.rh_pct:g} % is outside 0 to 100 %")
    if not spots:
        raise ValueError("no spot was given")
    newest = coat(kind)
    shells = []
    for code in spots:
        shell = SpotShell.bare(parse_spot(code), size_mm, fillet_mm, members)
        for older in older_coats(layer - 1):
            shell = shell.dip(coat(older))
        shells.append(shell.at_equilibrium(float(air.rh_pct)).dip(newest))
    return tuple(shells)


def _blown(shell: SpotShell) -> SpotShell:
    """The shell as it is, with air blown through from now on where it is a hollow without; else itself."""
    spot = shell.spot
    if not isinstance(spot, CavitySpot) or spot.blown:
        return shell
    aired = replace(spot, blown=True)
    return replace(shell, spot=aired, built=build(aired, shell.fillet_m, shell.members, shell.coats))


def _opened(spot: Spot, angle_deg: float) -> Spot:
    return JointSpot(angle_deg) if isinstance(spot, JointSpot) and spot.angle_deg < angle_deg else spot


def _anew(shell: SpotShell, spot: Spot, air: Air) -> SpotShell:
    """The same coats at another spot: the newest just on, the older ones at rest in that air."""
    bare = SpotShell.bare(spot, shell.size_m * 1e3, shell.fillet_m * 1e3, shell.members)
    for older in shell.coats[:-1]:
        bare = bare.dip(older)
    return bare.at_equilibrium(float(air.rh_pct)).dip(shell.coats[-1])


def _seconds(shells: Sequence[SpotShell], air: Air, through: float | None, ensemble: Ensemble) -> Floats:
    """When the last of the spots is fit, by each member (M,) [s]; infinite where none is in sight.

    through: what a shell may hold that is to dry through, over its dry mass [-]; None: fit for the next coat.
    """
    # To the last member: what is not known of one would pass for what it saves.
    limit = DRY_THROUGH_LIMIT if through is None else through
    ways = tree_ahead(shells, air, ensemble, HORIZON_S, through is not None, confidence=1.0, dry_limit=limit)
    return np.asarray(np.stack([way.fit_s for way in ways]).max(axis=0))


def _spread(seconds: Floats, ensemble: Ensemble) -> Spread:
    return Spread(*(None if np.isinf(value) else value for value in ensemble.spread(seconds)))
