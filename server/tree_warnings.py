"""What is to be watched on a tree now, beside what its coats went through: the night, dry coats, hollows.

From before the shop closes, the night is foreseen for each thin shell, with last night's air at the same
hours: the wax swings then while nobody is there to see to the heater.
"""

from dataclasses import dataclass, field, replace

from scheduler.forecast import SwingAhead
from sensors.air import Air
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Millis
from server.drying.shell import SpotShell
from server.drying.spots import CavitySpot, FaceSpot, parse_spot
from server.drying.warnings import SWUNG_COATS, prewet_warning, swing_ahead, swing_words
from server.judging import TreeJudge
from server.shop_hours import local_date, next_closing
from server.shop_rules import ShopRules
from server.stays import AirRecord
from server.tree_record import Committed
from server.verdicts import TreeVerdict

BEFORE_CLOSING_MS = 3 * HOUR_MS
"""The night is forecast from so long before the shop closes [ms]: there is time to do something about it."""

NIGHT_MS = 15 * HOUR_MS
"""How long after closing still counts as the night [ms]: until nine where a shop closes at six (assumed)."""

STEP_MS = 30 * MINUTE_MS


def air_of_last_night(air: AirRecord, start: Millis, end: Millis) -> list[tuple[float, Air | None]]:
    """The air from `start` to `end` [ms] as it was a day before, in stretches (seconds, air)."""
    stretches = []
    while start < end:
        until = min(start + STEP_MS, end)
        stretches.append(((until - start) / SECOND_MS, air.mean(start - DAY_MS, until - DAY_MS)))
        start = until
    return stretches


@dataclass
class TreeWarnings:
    """Adds to the verdicts on the rack what is to be watched, and foresees the night.

    What is foreseen is a function of the committed state, the air record, the time and the rules alone, so a
    restart says the same.
    """

    _nights: dict[int, tuple[Committed, SwingAhead | None]] = field(default_factory=dict)

    def foresee(self, tree_id: int, judge: TreeJudge, now: Millis, rules: ShopRules) -> None:
        """Work out the night of a tree, from before the shop closes until the night is over."""
        state, closing = judge.state, closing_near(now, rules)
        if closing is None or state is None or not _thin_and_known(judge, state):
            self._nights.pop(tree_id, None)
            return
        known = self._nights.get(tree_id)
        if known is not None and known[0] is state:
            return
        coat = state.coats[-1]
        swing = swing_ahead(
            _most_open(state.shells),
            coat.dip.number,
            coat.dip.material.kind,
            coat.climate,
            air_of_last_night(judge.air, state.at, closing + NIGHT_MS),
            drying=coat.fit_at is None,
        )
        words = swing_words(swing, rules.limits)
        found = None if words is None else SwingAhead(local_date(closing, rules.zone), words)
        self._nights[tree_id] = (state, found)

    def add(self, verdict: TreeVerdict, judge: TreeJudge, now: Millis, rules: ShopRules) -> TreeVerdict:
        """The verdict with its warnings of the moment. Nothing is reckoned here."""
        outlook, said = verdict.outlook, list(verdict.warnings)
        _, night = self._nights.get(outlook.tree_id, (None, None))
        if night is not None:
            said.append(night.words)
            closing = closing_near(now, rules)
            # Later there is nobody to tell: who comes back in the morning is told what was seen.
            if closing is not None and now <= closing:
                outlook = replace(outlook, swing_ahead=night)
        fit_at = outlook.fit_at.p50
        if outlook.state == "fit" and fit_at is not None:
            said += filter(None, [prewet_warning((now - fit_at) / HOUR_MS, rules.limits)])
        if outlook.state in ("drying", "resting"):
            said += [words for code, name in judge.tree.spots if (words := cavity_words(code, name))]
        return replace(verdict, outlook=outlook, warnings=tuple(said))


def closing_near(now: Millis, rules: ShopRules) -> Millis | None:
    """The closing whose night it is, or will be soon [ms]; None in the middle of the day."""
    closing = next_closing(now, rules.closes, rules.zone)
    if closing - now <= BEFORE_CLOSING_MS:
        return closing
    closing -= DAY_MS
    return closing if now - closing < NIGHT_MS else None


def cavity_words(code: str, name: str) -> str | None:
    """What is to be said of a hollow that no air is blown through.

    >>> cavity_words("cavity:60x0.2", "belly")
    'Next to no air gets into the belly through its mouth: blow air in, gently on a prime coat, and add \
“,blown” to its code.'
    >>> cavity_words("cavity:60x0.2,blown", "belly")
    """
    spot = parse_spot(code)
    if not isinstance(spot, CavitySpot) or spot.blown:
        return None
    return (
        f"Next to no air gets into the {name} through its mouth: blow air in, gently on a prime coat, "
        "and add “,blown” to its code."
    )


def _thin_and_known(judge: TreeJudge, state: Committed) -> bool:
    return len(state.coats) == len(judge.dips) and state.coats[-1].dip.number <= SWUNG_COATS


def _most_open(shells: tuple[SpotShell, ...]) -> SpotShell:
    return next((shell for shell in shells if isinstance(shell.spot, FaceSpot)), shells[0])
