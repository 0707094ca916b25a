"""The air of the next days, out of a shop's own record: persistence blended into the same hours of the last
days, and how far off that is to be expected to be.

    x(t + h) = m + α (x(t) − m) + β (c(t + h) − m) + γ (c(t) − m) + δ (x(t) − x(t − 1))

c is the mean of the same hour of the last days, the nearer ones weighing more, and m the mean of c over a
day. α to δ are of each lead h: at first exp(−h/τ), 1, −exp(−h/τ) and 0, so that what is above the usual
fades; then as least squares over the record has them, which is what tells a heated room from a cellar. The
error at each lead is what the same rule is off by over the record. All that is assumed gives way as the
record grows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sensors.clock import HOUR_MS, Millis
from sensors.humid_air import relative_humidity_pct, vapour_pressure_pa

Floats = NDArray[np.float64]

RECORD_H = 30 * 24
"""Hours of the record that are asked [h]: of a fortnight and a month the month was less off a day ahead, in
every made-up room of a year that was tried; with a fortnight a cellar's temperature was no better foretold
than "as now". A shop that has a shorter record is foretold from what it has."""

DAYS = 5
NEARER = 0.6
"""So many days back the same hours are asked, each day weighing this times the one after it [-]; assumed."""

LEADS_H = 72
"""Further ahead than this nothing is left of the air now, and the error no longer grows [h]; assumed."""

FADING_H = 24.0
PRIOR_HOURS = 48.0
"""Before the record tells: how soon the air now is forgotten [h], and how many hours of record weigh as much
as that guess; both assumed."""

PRIOR_TEMP_K = 3.0
PRIOR_RH_PCT = 10.0
"""What a forecast of days ahead is off by before the record tells [K], [%RH]: a day's swing; assumed."""

LEAST_TEMP_K, LEAST_RH_PCT = 0.2, 1.0
"""No forecast is surer than this [K], [%RH]: a good sensor's own doubt; from memory."""

WordKind = Literal["colder", "warmer", "damp", "dry"]

BOUNDS: dict[WordKind, tuple[float, float, str]] = {
    "colder": (0.5, 20.0, "K"),
    "warmer": (0.5, 20.0, "K"),
    "damp": (20.0, 100.0, "%RH"),
    "dry": (5.0, 90.0, "%RH"),
}
"""For each kind of word the least and the most it may say, and its unit."""


class AirWordError(ValueError):
    """Something said of the coming air that cannot be: the message names the thing, the value, the limit."""


@dataclass(frozen=True)
class AirWord:
    """What the caster says is coming: colder or warmer by so many K, at least or at most so damp [%RH].

    It holds from `start` to `end` [ms].

    >>> AirWord("colder", 90.0, 0, 3_600_000)
    Traceback (most recent call last):
    ...
    sensors.air_forecast.AirWordError: colder by 90 K is outside 0.5 to 20 K
    """

    kind: WordKind
    amount: float
    start: Millis
    end: Millis

    def __post_init__(self) -> None:
        if self.kind not in BOUNDS:
            raise AirWordError(f"air that is {self.kind!r} is not one of {', '.join(BOUNDS)}")
        low, high, unit = BOUNDS[self.kind]
        if not low <= self.amount <= high:
            joint = "by" if unit == "K" else "at"
            raise AirWordError(
                f"{self.kind} {joint} {self.amount:g} {unit} is outside {low:g} to {high:g} {unit}"
            )
        if not self.start < self.end:
            raise AirWordError(f"what is said of the air ends at {self.end}, before its start {self.start}")


@dataclass(frozen=True, eq=False)
class AirForecast:
    """The air hour by hour: the first entry is the mean of the hour that begins `made_at` [ms].

    temp_c, rh_pct: (n,) [°C], [%RH]. temp_off, rh_off: (n,) what they are to be expected to be off by, one
    standard deviation [K], [%RH]. After the last hour the last day repeats.
    """

    made_at: Millis
    temp_c: Floats
    rh_pct: Floats
    temp_off: Floats
    rh_off: Floats

    def at(self, time: Millis) -> tuple[float, float, float, float]:
        """Temperature [°C], humidity [%RH] and what each may be off by, of the hour that holds a time."""
        index = max((time - self.made_at) // HOUR_MS, 0)
        if index >= self.temp_c.size:
            index -= -(-(index - self.temp_c.size + 1) // 24) * 24
        return (
            float(self.temp_c[index]),
            float(self.rh_pct[index]),
            float(self.temp_off[index]),
            float(self.rh_off[index]),
        )


def forecast(made_at: Millis, temp_c: Floats, rh_pct: Floats, hours: int = 14 * 24) -> AirForecast | None:
    """The air ahead, from hourly means up to `made_at` [ms]: oldest first, NaN where nothing is known.

    None where the newest hour, or the whole record, is not known. `hours`: how far ahead [h], 24 at least.

    >>> hour = np.arange(10 * 24)
    >>> daily = 18.0 + 3.0 * np.sin(hour * np.pi / 12)
    >>> ahead = forecast(0, daily, np.full(240, 50.0))
    >>> bool(np.abs(ahead.temp_c[:24] - daily[:24]).max() < 0.2), round(float(ahead.rh_pct[99]), 6)
    (True, 50.0)
    """
    if hours < 24:
        raise ValueError(f"a forecast of {hours} h is shorter than 24 h")
    if temp_c.shape != rh_pct.shape:
        raise ValueError(f"{temp_c.size} hours of temperature with {rh_pct.size} of humidity")
    known = np.isfinite(temp_c) & np.isfinite(rh_pct)
    if not known.size or not known[-1]:
        return None
    temp, temp_off = _series(np.where(known, temp_c, np.nan), hours, PRIOR_TEMP_K, LEAST_TEMP_K)
    rh, rh_off = _series(np.where(known, rh_pct, np.nan), hours, PRIOR_RH_PCT, LEAST_RH_PCT)
    return AirForecast(made_at, temp, np.clip(rh, 0.0, 100.0), temp_off, rh_off)


def said(ahead: AirForecast, words: Sequence[AirWord]) -> AirForecast:
    """The forecast as the caster's words make it; warmer or colder air holds the same water.

    What rests on a word is taken to be off by half of what it changed, beside what it was off by before.

    >>> flat = AirForecast(0, np.full(24, 20.0), np.full(24, 50.0), np.zeros(24), np.zeros(24))
    >>> cold = said(flat, [AirWord("colder", 5.0, 0, 7_200_000)])
    >>> [round(float(value), 1) for value in (cold.temp_c[0], cold.rh_pct[0], cold.temp_off[0])]
    [15.0, 68.6, 2.5]
    """
    starts = ahead.made_at + HOUR_MS * np.arange(ahead.temp_c.size)
    for word in words:
        holds = (starts < word.end) & (starts + HOUR_MS > word.start)
        temp, rh = ahead.temp_c.copy(), ahead.rh_pct.copy()
        if word.kind in ("colder", "warmer"):
            temp[holds] += word.amount if word.kind == "warmer" else -word.amount
            water = vapour_pressure_pa(ahead.temp_c[holds], ahead.rh_pct[holds])
            rh[holds] = np.clip(relative_humidity_pct(temp[holds], water), 0.0, 100.0)
        elif word.kind == "damp":
            rh[holds] = np.maximum(rh[holds], word.amount)
        else:
            rh[holds] = np.minimum(rh[holds], word.amount)
        ahead = replace(
            ahead,
            temp_c=temp,
            rh_pct=rh,
            temp_off=np.hypot(ahead.temp_off, 0.5 * np.abs(temp - ahead.temp_c)),
            rh_off=np.hypot(ahead.rh_off, 0.5 * np.abs(rh - ahead.rh_pct)),
        )
    return ahead


def _series(record: Floats, hours: int, prior_off: float, least_off: float) -> tuple[Floats, Floats]:
    """One quantity ahead, and what it is off by: (hours,), (hours,)."""
    record = np.concatenate([np.full(max(RECORD_H - record.size, 0), np.nan), record[-RECORD_H:]])
    usual = _usual(record)
    leads = np.arange(1, min(LEADS_H, hours) + 1)
    guess = np.exp(-leads / FADING_H)
    prior = prior_off * np.sqrt(1.0 - guess**2)
    # The mean of a whole day of those hours, as it was known at each hour.
    day = np.convolve(usual, np.full(24, 1.0 / 24.0), "valid")[1:]
    here, level = record - day, usual[:RECORD_H] - day
    moving = np.concatenate([[np.nan], np.diff(record)])
    origins = np.arange(24, RECORD_H)
    ahead, off = np.empty(leads.size), np.empty(leads.size)
    for at, lead in enumerate(leads):
        since = origins[origins + lead < RECORD_H]
        # What was usual at that hour, as it was known then: of days that had ended.
        turn = (lead - 1) % 24 + 1
        causes = np.stack([here[since], usual[since + turn] - day[since], level[since], moving[since]])
        came = record[since + lead] - day[since]
        both = np.isfinite(came) & np.isfinite(causes).all(axis=0)
        causes, came = causes[:, both], came[both]
        before = np.array([guess[at], 1.0, -guess[at], 0.0])
        size = np.mean(causes**2, axis=1) + least_off**2 if came.size else np.ones(4)
        weight = np.diag(PRIOR_HOURS * size)
        share = np.linalg.solve(causes @ causes.T + weight, causes @ came + weight @ before)
        missed = came - share @ causes
        square = (missed @ missed + PRIOR_HOURS * prior[at] ** 2) / (missed.size + PRIOR_HOURS)
        off[at] = np.sqrt(square)
        now = [here[-1], usual[RECORD_H - 1 + turn] - day[-1], level[-1], np.nan_to_num(moving[-1])]
        ahead[at] = day[-1] + share @ now
    off = np.maximum(np.maximum.accumulate(off), least_off)
    later = np.maximum(np.arange(hours) - LEADS_H + 1, 0)
    place = np.arange(hours) - 24 * -(-later // 24)
    return ahead[place], off[np.minimum(np.arange(hours), LEADS_H - 1)]


def _usual(record: Floats) -> Floats:
    """For each hour of the record and the day after it, the mean of that hour over the days before.

    Of an hour that no such day knows: the mean of all that is known.
    """
    padded = np.concatenate([np.full(24 * DAYS, np.nan), record])
    total, weights = np.zeros(record.size + 24), np.zeros(record.size + 24)
    for day in range(1, DAYS + 1):
        begins = 24 * (DAYS - day)
        shifted = padded[begins : begins + record.size + 24]
        weight = NEARER ** (day - 1) * np.isfinite(shifted)
        total += weight * np.nan_to_num(shifted)
        weights += weight
    overall = float(np.nanmean(record))
    return np.where(weights > 0.0, total / np.maximum(weights, 1e-12), overall)
