"""Whether a node in a closed jar has settled: its humidity has stopped moving, and the jar is at rest."""

from collections.abc import Sequence
from dataclasses import dataclass

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading

WINDOW_MS = 2 * HOUR_MS
"""What is looked at: the newest readings of this long [ms]. Assumed, as are the other limits here."""

LEAST_MS = 4 * HOUR_MS
"""Sooner than this after the lid is closed a jar is not called settled [ms]."""

MOST_SLOPE_PCT_H = 0.25
"""Humidity that moves by less than this [%RH/h] has settled: in a jar whose difference falls to a third in an
hour or two, about 0.5 %RH is still to go at the most."""

MOST_TEMP_RANGE_K = 1.0
"""Temperatures of the window further apart than this [K] keep the salt and the sensor apart as well."""

LEAST_READINGS = 6
STALE_MS = 30 * MINUTE_MS
"""A jar whose newest reading is older than this cannot be told [ms]."""


@dataclass(frozen=True)
class Settling:
    """How far a jar has come. Figures are of the window; None while there are too few readings.

    humidity_pct [%RH], temp_c [°C]: means. slope_pct_h [%RH/h], temp_range_k [K]. `why_not` is what is still
    wanted, in a short sentence without a full stop; "" once it has settled.
    """

    humidity_pct: float | None
    temp_c: float | None
    slope_pct_h: float | None
    temp_range_k: float | None
    why_not: str

    @property
    def settled(self) -> bool:
        """Whether it may be read."""
        return not self.why_not


def settling(readings: Sequence[Reading], begun: Millis, now: Millis) -> Settling:
    """How far a jar closed at `begun` has come, by one node's readings of humidity and temperature."""
    start = max(now - WINDOW_MS, begun)
    inside = [one for one in readings if start <= one.time <= now]
    humid = sorted((one.time, one.value) for one in inside if one.name == "humidity")
    temps = [one.value for one in inside if one.name == "temperature"]
    if len(humid) < LEAST_READINGS or len(temps) < LEAST_READINGS:
        return Settling(
            None,
            None,
            None,
            None,
            f"{len(humid)} readings of humidity and {len(temps)} of temperature in the last "
            f"{WINDOW_MS // HOUR_MS} h: {LEAST_READINGS} of each are needed",
        )
    mean = sum(value for _, value in humid) / len(humid)
    slope, spread = _slope_per_h(humid), max(temps) - min(temps)
    why = ""
    if now - begun < LEAST_MS:
        why = f"a jar is left closed for {LEAST_MS // HOUR_MS} h at least"
    elif now - humid[-1][0] > STALE_MS:
        why = f"the node has said no humidity for {(now - humid[-1][0]) // MINUTE_MS} min"
    elif humid[-1][0] - humid[0][0] < WINDOW_MS // 2:
        why = f"its readings span {(humid[-1][0] - humid[0][0]) // MINUTE_MS} min: an hour is needed"
    elif spread > MOST_TEMP_RANGE_K:
        why = f"its temperature moved by {spread:.1f} K: within {MOST_TEMP_RANGE_K:g} K it is steady"
    elif abs(slope) >= MOST_SLOPE_PCT_H:
        why = f"humidity still moves by {slope:+.1f} %RH an hour: below {MOST_SLOPE_PCT_H:g} it has settled"
    return Settling(mean, sum(temps) / len(temps), slope, spread, why)


def _slope_per_h(points: Sequence[tuple[Millis, float]]) -> float:
    """The slope of the line through the points by least squares [1/h]; 0 where all are at one time."""
    hours = [(time - points[0][0]) / HOUR_MS for time, _ in points]
    middle, mean = sum(hours) / len(hours), sum(value for _, value in points) / len(points)
    square = sum((hour - middle) ** 2 for hour in hours)
    if square == 0.0:
        return 0.0
    product = sum((hour - middle) * (value - mean) for hour, (_, value) in zip(hours, points, strict=True))
    return product / square
