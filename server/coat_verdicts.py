"""How coats went, in the words the rest of the program shares."""

from collections.abc import Sequence

import numpy as np

from scheduler.forecast import NEVER, Quantiles
from sensors.bridging import Bridge
from sensors.clock import SECOND_MS, Millis
from server.drying.ensemble import ALONE, Ensemble
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimits
from server.drying.warnings import coat_warnings
from server.tree_record import NOT_YET, CoatRecord, JudgedTree, Times
from server.verdicts import CoatVerdict


def coat_verdicts(
    tree: JudgedTree,
    coats: Sequence[CoatRecord],
    ensemble: Ensemble = ALONE,
    limits: WarningLimits = DEFAULT_LIMITS,
) -> tuple[CoatVerdict, ...]:
    """The coats as they went, in the words of `server.verdicts`."""
    return tuple(_coat_verdict(tree, coat, ensemble, limits) for coat in coats)


def was_fit(by_member: Times, called: Millis | None, ensemble: Ensemble) -> Quantiles:
    """When something came fit, by the members; those that had not when it was `called` fit count as then."""
    if called is None:
        return NEVER
    times = np.where((by_member == NOT_YET) | (by_member > called), called, by_member)
    return Quantiles(*(round(at) for at in ensemble.spread(times)))


def last_spot(coat: CoatRecord) -> int | None:
    """Which spot came fit last: an index into the tree's spots; None while any is not fit."""
    times = [at for at in coat.spot_fit_at if at is not None]
    if not times or len(times) < len(coat.spot_fit_at):
        return None
    return max(range(len(times)), key=times.__getitem__)


def _meanwhile(bridges: Sequence[Bridge]) -> str:
    if not bridges:
        return "the coat was taken not to dry meanwhile"
    humid = max(bridge.highest_rh_pct for bridge in bridges)
    cold = min(bridge.lowest_temp_c for bridge in bridges)
    return (
        "it was taken to be as bad as the worst of that hour in the last days, "
        f"down to {cold:.0f} °C and up to {humid:.0f} %RH"
    )


def _coat_verdict(
    tree: JudgedTree, coat: CoatRecord, ensemble: Ensemble, limits: WarningLimits
) -> CoatVerdict:
    slowest = last_spot(coat) if coat.fit_at is not None else coat.damp_spot
    code, name = tree.spots[slowest] if slowest is not None else (None, None)
    warnings = []
    for start, end in coat.gaps:
        minutes = (end - start) // (60 * SECOND_MS)
        within = [bridge for bridge in coat.bridges if start <= bridge.start and bridge.end <= end]
        warnings.append(f"The air was not known for {minutes} min; {_meanwhile(within)}.")
    if coat.damp_at_next is not None and coat.fit_at is None and coat.damp_spot is not None:
        damp_name = tree.spots[coat.damp_spot][1]
        warnings.append(f"The next coat went on while {coat.damp_at_next:.0%} was left at the {damp_name}.")
    warnings += coat_warnings(coat.dip.number, coat.dip.material.kind, coat.climate, limits)
    return CoatVerdict(
        number=coat.dip.number,
        kind=coat.dip.material.kind,
        dip_id=coat.dip.dip_id,
        dipped_at=coat.dip.at,
        fit_at=was_fit(coat.member_fit_at[0], coat.fit_at, ensemble),
        slowest_spot=code,
        slowest_name=name,
        damp_at_next=coat.damp_at_next,
        warnings=tuple(warnings),
        pot=coat.dip.pot,
        note=coat.dip.note,
        patch=coat.dip.spot,
        left_at_next=tuple(
            (name, left) for (_, name), left in zip(tree.spots, coat.left_at_next, strict=False)
        ),
        gaps=coat.gaps,
        bridges=coat.bridges,
        climate=coat.climate,
        courses=tuple((code, course) for (code, _), course in zip(tree.spots, coat.courses, strict=False)),
    )
