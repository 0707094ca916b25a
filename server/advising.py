"""The one measurement that would tell most: asked for at most once a day, from what the members forecast."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from sensors.clock import DAY_MS, HOUR_MS, Millis
from server.drying.advice import Candidate, best, weigh
from server.drying.ensemble import Ensemble
from server.drying.instruments import Instruments
from server.drying.looks import look_at
from server.drying.spots import PocketSpot, parse_spot
from server.drying.verdict import Ahead
from server.shop_instruments import instruments_of
from server.store import measurements, shop
from server.store.engine import Engine
from server.verdicts import Advice

Floats = NDArray[np.float64]

SETTING = "advice"
"""The setting under which what was asked for today is kept, so that a restart asks nothing more."""

WORTH_ASKING = 0.93
"""A measurement is asked for where it should narrow the spread to this share at least [-] (assumed)."""

AHEAD_S = 16 * 3600.0
"""Nothing is asked for later than so far ahead [s]: a day in the shop."""

USUAL_AREA_M2 = 0.2
"""What a tree's area is taken as, for advice alone, where nobody said it [m²] (assumed)."""

PAST_MS = 3 * HOUR_MS
"""So long after its time it is still worth making [ms] (assumed)."""

_MOMENTS = 12


@dataclass(frozen=True, eq=False)
class Foreseen:
    """What is ahead of one tree: its spots' codes, their courses from `made_at` on, in that air."""

    tree_id: int
    area_m2: float | None
    codes: Sequence[str]
    made_at: Millis
    ahead: Sequence[Ahead]
    air: Air
    ensemble: Ensemble


@dataclass
class AdviceDesk:
    """Holds what is asked for today; chosen when something is first worth asking in a day (of UTC)."""

    latest: Advice | None = None
    _tried: Millis = -HOUR_MS

    def look(self, engine: Engine, foreseen: Callable[[], Iterable[Foreseen]], now: Millis) -> None:
        """Choose, or let go of what was done or whose time is past. What is foreseen is asked for hourly."""
        today = now // DAY_MS
        kept = shop.setting(engine, SETTING)
        if kept is not None and kept["day"] == today:
            advice = Advice(**kept["advice"])
            said = measurements.measurements(engine, advice.tree_id)
            done = any(one.kind == advice.kind and one.said_at // DAY_MS == today for one in said)
            self.latest = None if done or now > advice.at + PAST_MS else advice
            return
        self.latest = None
        if now - self._tried < HOUR_MS:
            return
        self._tried = now
        by = instruments_of(engine)
        found = [one for one in (of_tree(tree, by) for tree in foreseen()) if one is not None]
        if found:
            self.latest = min(found, key=lambda one: (round(one.narrowed, 3), one.at, one.tree_id))
            shop.set_setting(engine, SETTING, {"day": today, "advice": asdict(self.latest)})


def of_tree(tree: Foreseen, by: Instruments) -> Advice | None:
    """The best measurement of one tree, if any is worth asking for."""
    candidate = best(candidates(tree, by))
    if candidate is None or candidate.narrowed > WORTH_ASKING:
        return None
    at = tree.made_at + round(candidate.seconds * 1000)
    return Advice(tree.tree_id, candidate.kind, candidate.spot, at, candidate.narrowed)


def candidates(tree: Foreseen, by: Instruments) -> list[Candidate]:
    """Everything that could be measured of a tree ahead, with what is to be expected of it."""
    if tree.ensemble.count == 1 or not tree.ahead:
        return []
    fit_s: Floats = np.stack([ahead.fit_s for ahead in tree.ahead]).max(axis=0)
    found = []
    for code, ahead in zip(tree.codes, tree.ahead, strict=True):
        moments = [(seconds, shell) for seconds, shell in ahead.course if 0.0 < seconds <= AHEAD_S]
        step = max(1, -(-len(moments) // _MOMENTS))
        now_kg = ahead.course[0][1].water_kg
        for seconds, shell in moments[::step]:
            look = look_at(shell, tree.air)
            weights = tree.ensemble.weights
            if not isinstance(parse_spot(code), PocketSpot):
                found.append(weigh("touch", code, seconds, look, weights, fit_s))
                found.append(weigh("colour", code, seconds, look, weights, fit_s))
            found.append(weigh("surface_temp", code, seconds, look, weights, fit_s, by=by))
            if code == "face":
                area = USUAL_AREA_M2 if tree.area_m2 is None else tree.area_m2
                dried = (now_kg - look.water_kg_m2) * area
                found.append(weigh("weighing", code, seconds, look, weights, fit_s, dried, by))
    return found
