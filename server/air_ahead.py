"""The air that is expected at each place: its record hour by hour, the forecast of it, the caster's words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from sensors.air import Air, PlaceAir
from sensors.air_forecast import (
    PRIOR_RH_PCT,
    PRIOR_TEMP_K,
    RECORD_H,
    AirForecast,
    AirWord,
    forecast,
    said,
)
from sensors.clock import HOUR_MS, SECOND_MS, Millis
from server.drying.air_course import AirCourse
from server.drying.coming_coats import ComingAir
from server.store import plans
from server.store.engine import Engine

LEAST_HOURS = 24
"""With fewer hours known than this [h] nothing is foretold: the air is taken to go on as it is; assumed."""

MOST_KEPT = 24
"""So many forecasts are kept: trees of one place are judged up to different hours."""

SETTLED_MS = 6 * HOUR_MS
"""An hour so long past [ms] is not asked for again: later readings hardly tell of what is ahead."""


def hourly_means(
    air: PlaceAir, end: Millis, known: dict[Millis, Air | None]
) -> tuple[np.ndarray, np.ndarray]:
    """Temperature [°C] and humidity [%RH] of the record's hours up to `end` [ms], NaN where not known.

    Hours that are `known` already are not asked for again; the others are put there.
    """
    hours = range(end - RECORD_H * HOUR_MS, end, HOUR_MS)
    for start in hours:
        if start not in known:
            known[start] = air.mean(start, start + HOUR_MS)
    means = [known[start] for start in hours]
    nothing = float("nan")
    return (
        np.array([nothing if mean is None else mean.temp_c for mean in means]),
        np.array([nothing if mean is None else mean.rh_pct for mean in means]),
    )


@dataclass
class AirAhead:
    """Foretells the air of a place once an hour. To be used by one thread.

    `words` gives what the caster says of a place; what is said counts from the next hour's forecast, or from
    `forget` on. `past` gives a place's air in a time that its record may not reach back to.
    """

    words: Callable[[str], Sequence[AirWord]] = lambda place: ()
    past: Callable[[str, Millis, Millis], PlaceAir] | None = None
    _known: dict[tuple[str, Millis], AirForecast | None] = field(default_factory=dict)
    _means: dict[str, dict[Millis, Air | None]] = field(default_factory=dict)

    def forget(self) -> None:
        """The record or the words are others: foretell anew."""
        self._known.clear()
        self._means.clear()

    def of(self, place: str, air: PlaceAir, at: Millis) -> AirForecast | None:
        """The forecast made at the last whole hour before `at` [ms]; None where too little is known."""
        hour = at // HOUR_MS * HOUR_MS
        if (place, hour) not in self._known:
            while len(self._known) >= MOST_KEPT:
                self._known.pop(next(iter(self._known)))
            self._known[place, hour] = self._foretold(place, air, hour)
        return self._known[place, hour]

    def course(self, place: str, air: PlaceAir, at: Millis, now: Air) -> AirCourse | None:
        """The air from `at` on [ms], where it is as `now` and then goes over into the forecast."""
        ahead = self.of(place, air, at)
        return None if ahead is None else course_of(ahead, at, now)

    def on_the_whole(self, place: str, air: PlaceAir, at: Millis) -> ComingAir | None:
        """The air of the next day on the whole; the newest where nothing is foretold, None without that."""
        ahead, latest = self.of(place, air, at), air.latest()
        if latest is None:
            return None
        if ahead is None:
            return ComingAir(latest[1], PRIOR_TEMP_K, PRIOR_RH_PCT)
        means = [float(values[:24].mean()) for values in (ahead.temp_c, ahead.rh_pct)]
        mean = replace(latest[1], temp_c=means[0], rh_pct=means[1])
        return ComingAir(mean, float(ahead.temp_off[:24].mean()), float(ahead.rh_off[:24].mean()))

    def _foretold(self, place: str, air: PlaceAir, hour: Millis) -> AirForecast | None:
        means = self._means.get(place)
        if means is None:
            means = self._long_past(place, air, hour)
        temp_c, rh_pct = hourly_means(air, hour, means)
        self._means[place] = {
            at: mean for at, mean in means.items() if hour - RECORD_H * HOUR_MS <= at < hour - SETTLED_MS
        }
        if np.isfinite(temp_c).sum() < LEAST_HOURS:
            return None
        ahead = forecast(hour, temp_c, rh_pct)
        return None if ahead is None else said(ahead, self.words(place))

    def _long_past(self, place: str, air: PlaceAir, hour: Millis) -> dict[Millis, Air | None]:
        """Means of the hours that only the store knows: the record of a service just started is short."""
        if self.past is None:
            return {}
        known_from = air.known_from()
        begins = hour if known_from is None else min(-(-known_from // HOUR_MS) * HOUR_MS, hour)
        hours = range(hour - RECORD_H * HOUR_MS, begins, HOUR_MS)
        if not hours:
            return {}
        # Means stand in the middle of their hours: those at the ends lean on one beyond.
        past = self.past(place, hours[0] - HOUR_MS, begins + HOUR_MS)
        return {start: past.mean(start, start + HOUR_MS) for start in hours}


def course_of(ahead: AirForecast, at: Millis, now: Air) -> AirCourse:
    """A forecast as seen from `at` [ms], when the air is as `now`."""
    middles = (ahead.made_at - at + HOUR_MS * (np.arange(ahead.temp_c.size) + 0.5)) / SECOND_MS
    later = middles > 0.0

    def joined(first: float, values: np.ndarray) -> np.ndarray:
        return np.concatenate([[first], values[later]])

    return AirCourse(
        joined(0.0, middles),
        joined(now.temp_c, ahead.temp_c),
        joined(now.rh_pct, ahead.rh_pct),
        joined(0.0, ahead.temp_off),
        joined(0.0, ahead.rh_off),
        now,
    )


def words_said(engine: Engine, place: str, now: Millis) -> list[AirWord]:
    """What the caster says of the coming air of a place, or of the whole shop."""
    return [
        AirWord(word.kind, word.amount, word.start, word.end)
        for word in plans.words(engine, now)
        if word.place in ("", place)
    ]
