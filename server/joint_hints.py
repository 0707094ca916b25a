"""What a joint's angle does to its drying time, for a tree about to be hung: reckoned when asked.

The recipe's first backup coat, in the air of the place as it is now, by what is believed of the place. A dial
is turned back and forth, so what was reckoned is kept by the angle in steps of 5°, the air in steps of 1 °C
and 5 %RH.
"""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from sensors.clock import HOUR_MS, SECOND_MS
from server.believing import believed, prior_ensemble
from server.drying.ensemble import Ensemble
from server.drying.joint_hint import SIGHT_S, JointHint, compared, seconds_to_fit
from server.drying.materials import RH_CEILING_PCT, CoatMaterial, coat
from server.drying.spots import LARGEST_ANGLE_DEG, SMALLEST_ANGLE_DEG
from server.drying.transfer import covers
from server.drying.whatif import OPENED_DEG, Spread
from server.learning_desk import newest
from server.pages.wording import around_words, duration_words
from server.parts import Parts
from server.shop_height import pressure_of
from server.store import places as place_store
from server.store import recipes as recipe_store
from server.store.engine import UnknownError
from server.store.values import Recipe
from server.units import units_of

STEP_DEG = 5.0
TEMP_STEP_C, RH_STEP_PCT = 1.0, 5.0
LOOK_BACK_MS = 2 * HOUR_MS
MOST_KEPT = 300
PATIENCE_S = 30.0

ASSUMED_TEMP_C, ASSUMED_RH_PCT = 20.0, 50.0
"""The air where none is known yet: assumed, a heated room's."""

Floats = NDArray[np.float64]

_BEYOND, _WITHIN = (f"{words} than {SIGHT_S / 86_400:g} days" for words in ("more", "less"))


class HintBusyError(Exception):
    """Too many dials are turned at once: ask again in a moment."""


@dataclass(frozen=True)
class AngleHint:
    """What is said of an angle: the coat it was reckoned for, the air, the figures, and all of it in words.

    `hint` is None where the air is too damp for any coat to be called fit, or not covered by the model;
    `assumed`: the air is not known there.
    """

    angle_deg: float
    coat: int
    kind: str
    air: Air
    assumed: bool
    hint: JointHint | None
    words: tuple[str, ...]


class JointHints:
    """The desk. One reckoning at a time; from any thread."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = Lock()
        self._known: OrderedDict[tuple[Any, ...], Floats] = OrderedDict()

    def ask(self, place_id: str, recipe_id: int, size_mm: float, angle_deg: float) -> AngleHint:
        """The hint for a joint of that angle [°]. Raises UnknownError, HintBusyError."""
        engine = self._parts.engine
        recipe = recipe_store.recipe(engine, recipe_id)
        if recipe is None:
            raise UnknownError(f"there is no recipe {recipe_id}")
        air, assumed = self._air(place_id)
        number = backup_coat(recipe)
        kind = recipe.coats[number - 1].kind
        angle = stepped(angle_deg)
        hint = None
        if air.rh_pct <= RH_CEILING_PCT and covers(air):
            coats = tuple(coat(one.kind, one.thickness_mm, one.water_kg_m2) for one in recipe.coats[:number])
            ensemble = newest(engine, place_id, prior_ensemble(engine, believed(engine)))
            hint = self._hint(angle, coats, air, size_mm, ensemble)
        units = units_of(engine)
        words = tuple(map(units.said, hint_words(angle, number, kind, air, assumed, hint)))
        return AngleHint(angle, number, kind, air, assumed, hint, words)

    def _hint(
        self, angle: float, coats: Sequence[CoatMaterial], air: Air, size_mm: float, ensemble: Ensemble
    ) -> JointHint:
        def seconds(code: str) -> Floats:
            key = (code, tuple(coats), air, size_mm, ensemble.key)
            if key not in self._known:
                self._known[key] = seconds_to_fit(code, coats, air, size_mm, ensemble)
                while len(self._known) > MOST_KEPT:
                    self._known.popitem(last=False)
            return self._known[key]

        if not self._lock.acquire(timeout=PATIENCE_S):
            raise HintBusyError("too many angles are being reckoned at once: ask again in a moment")
        try:
            flat = seconds("face")
            if np.isinf(ensemble.quantile(flat, 0.5)):  # then nobody needs to wait for the corner's
                return compared(flat, flat, {}, ensemble)
            joint = seconds(f"joint:{angle:g}")
            opened = {wide: seconds(f"joint:{wide:g}") for wide in OPENED_DEG if wide > angle}
        finally:
            self._lock.release()
        return compared(joint, flat, opened, ensemble)

    def _air(self, place_id: str) -> tuple[Air, bool]:
        """The air of a place now, rounded to the steps; and whether it had to be assumed."""
        place = place_store.place(self._parts.engine, place_id)
        if place is None:
            raise UnknownError(f"there is no place {place_id!r}")
        now = self._parts.clock.now()
        temp, rh, assumed = ASSUMED_TEMP_C, ASSUMED_RH_PCT, True
        for point in self._parts.rack.air(place_id, now - LOOK_BACK_MS, now):
            if point.temp_c is not None and point.rh_pct is not None:
                temp, rh, assumed = point.temp_c, point.rh_pct, False
        pressure = pressure_of(self._parts.engine)
        rounded = (round(temp / TEMP_STEP_C) * TEMP_STEP_C, round(rh / RH_STEP_PCT) * RH_STEP_PCT)
        return Air(*rounded, place.speed_m_s, pressure_pa=pressure), assumed


def stepped(angle_deg: float) -> float:
    """The angle in steps of 5°, within what a joint's strip covers.

    >>> stepped(32.4), stepped(3), stepped(170)
    (30.0, 15.0, 150.0)
    """
    return float(min(max(round(angle_deg / STEP_DEG) * STEP_DEG, SMALLEST_ANGLE_DEG), LARGEST_ANGLE_DEG))


def backup_coat(recipe: Recipe) -> int:
    """Number of the recipe's first backup coat; of its last coat where it has none."""
    numbers = [one.number for one in recipe.coats if one.kind == "backup"]
    return min(numbers, default=len(recipe.coats))


def hint_words(
    angle: float, number: int, kind: str, air: Air, assumed: bool, hint: JointHint | None
) -> tuple[str, ...]:
    """The hint in sentences, what matters most first.

    >>> air, hour = Air(20.0, 55.0, 0.6), 3600.0
    >>> joint, flat = (Spread(a * hour, b * hour, c * hour) for a, b, c in ((3, 10, 28), (3, 4, 5)))
    >>> times = Spread(1.0, 2.4, 7.0)
    >>> for line in hint_words(30.0, 3, "backup", air, False, JointHint(joint, flat, times, {60.0: flat})):
    ...     print(line)
    At 30° about 2.5 x as long as the flat face, 1-7 x.
    Opened to 60° it would save about 4 h, 3-5 h.
    Coat 3, backup: about 10 h, 3-28 h at the joint; about 4 h, 3-5 h on the face.
    Reckoned in the air as it is now: 20 °C, 55 %RH, moving at 0.6 m/s.
    """
    where = "in air that is assumed, for none is known there now" if assumed else "in the air as it is now"
    reckoned = f"Reckoned {where}: {air.temp_c:g} °C, {air.rh_pct:g} %RH, moving at {air.speed_m_s:g} m/s."
    if hint is None:
        if covers(air):
            return ("In air so damp no coat is called fit, at whatever angle.", reckoned)
        return ("What the angle does cannot be told: the model does not cover air like this.", reckoned)
    if hint.flat.p50 is None:
        return (f"In air like this even the flat face takes {_BEYOND}, whatever the angle.", reckoned)
    lines = [f"At {angle:g}° {times_words(hint.times_flat)}."]
    saves = [f"to {wide:g}° {_saved_words(saved)}" for wide, saved in hint.opened.items()]
    if saves:
        lines.append(f"Opened {'; '.join(saves)}.")
    joint, flat = _time_words(hint.joint), _time_words(hint.flat)
    lines.append(f"Coat {number}, {kind}: {joint} at the joint; {flat} on the face.")
    return (*lines, reckoned)


def times_words(times: Spread) -> str:
    """How many times as long as the flat face, with its spread.

    >>> times_words(Spread(2.0, 4.2, 9.4)), times_words(Spread(0.3, 0.7, 1.0))
    ('about 4 x as long as the flat face, 2-9 x', 'no longer than the flat face')
    >>> times_words(Spread(0.3, 0.9, 2.2)), times_words(Spread(3.0, 30.2, None))
    ('about as long as the flat face, perhaps 2 x', 'about 30 x as long as the flat face, or more')
    """
    low, middle, high = times.p10, times.p50, times.p90
    if middle is None:
        least = "" if low is None else f"between {_times(low)} x the flat face’s time and "
        return f"{least}far more" if least else "far longer than the flat face"
    low = middle if low is None else low
    if middle < 1.15:
        if high is not None and high < 1.4:
            return "no longer than the flat face"
        return f"about as long as the flat face, perhaps {'more' if high is None else f'{_times(high)} x'}"
    spread = "or more" if high is None else f"{_times(low)}-{_times(high)} x"
    return f"about {_times(middle)} x as long as the flat face, {spread}"


def _times(value: float) -> str:
    if value < 3.0:
        return f"{max(round(value * 2) / 2, 0.5):g}"
    return f"{round(value):g}" if value < 10.0 else f"{float(f'{value:.1g}'):g}"


def _saved_words(saved: Spread) -> str:
    if saved.p50 is None:
        return f"it would take {_WITHIN}"
    if saved.p50 * SECOND_MS < 150 * SECOND_MS:
        return "it would save next to nothing"
    return f"it would save {_time_words(saved)}"


def _time_words(spread: Spread) -> str:
    ends = (spread.p10, spread.p50, spread.p90)
    low, middle, high = (None if one is None else round(max(one, 0.0) * SECOND_MS) for one in ends)
    if low is None:
        return _BEYOND
    if middle is None:
        return f"{duration_words(low)} or far more"
    return f"{duration_words(middle)} or more" if high is None else around_words(low, middle, high)
