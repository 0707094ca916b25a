"""What else can be the matter with a node: it is silent, its clock is off, its battery runs down. Pure.

The figures are assumed, unless a source is named beside them.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis

SILENT_MS, SILENT_TIMES = 15 * MINUTE_MS, 4
"""Silent after so long, or after so many of its own spacings, whichever is more [ms, -]."""

CLOCK_OFF_MS, CLOCK_STEADY_MS = 10 * MINUTE_MS, 2 * MINUTE_MS
"""Words that come so late, one like the other to within the second figure, are a clock that is off [ms]."""

CLOCK_WORDS = 5

LOW_PCT = 15.0
LITHIUM_EMPTY_V, TWO_CELLS_EMPTY_V = 3.3, 2.2
"""A lithium-ion cell behind a 3.3 V regulator, and two alkaline cells, are empty there (from memory) [V]."""

SAID_DAYS = 10.0
"""An empty battery is foretold when it is so near [days]."""

LEAST_HISTORY_MS = 2 * DAY_MS


def silent_since(said: Sequence[tuple[Millis, Millis]], now: Millis) -> Millis | None:
    """Since when a node is silent, by its last words: (their own time, rising, when they came) [ms].

    None where it is not. A clock that is wrong makes nobody silent.

    >>> minute = 60_000
    >>> silent_since([(0, 0), (minute, minute), (2 * minute, 2 * minute)], 10 * minute)
    >>> silent_since([(0, 0), (minute, minute)], 20 * minute)
    60000
    """
    if not said:
        return None
    spacings = sorted(after - before for (before, _), (after, _) in pairwise(said))
    usual = spacings[len(spacings) // 2] if spacings else 0
    last = max(came for _, came in said)
    return last if now - last > max(SILENT_MS, SILENT_TIMES * usual) else None


def clock_behind(said: Sequence[tuple[Millis, Millis]], rate: float = 1.0) -> Millis | None:
    """How far a node's clock is behind [ms], by its last words: (their own time, when they came) [ms].

    None where it is not, or where nobody can tell: words that were kept while the network was away come
    late too, but not one like the other. `rate` is shop time over the wall's: its seconds on the way count
    for more.

    >>> minute = 60_000
    >>> clock_behind([(n * minute, (n + 60) * minute) for n in range(5)]) == 60 * minute
    True
    """
    last = said[-CLOCK_WORDS:]
    if len(last) < CLOCK_WORDS or last[-1][1] - last[0][1] < CLOCK_WORDS * 1000:
        return None
    lags = [came - time for time, came in last]
    wide = max(rate / 60.0, 1.0)
    if min(lags) < CLOCK_OFF_MS * wide or max(lags) - min(lags) > CLOCK_STEADY_MS * wide:
        return None
    return sorted(lags)[len(lags) // 2]


def wrong_since(said: Sequence[tuple[Millis, Millis]], rate: float = 1.0) -> Millis:
    """Of the last words of a node whose clock is behind, the time of the first that came late [ms].

    >>> minute = 60_000
    >>> late = [(n * minute, (n + 60) * minute) for n in range(10, 16)]
    >>> wrong_since([(9 * minute, 9 * minute), *late]) == 10 * minute
    True
    """
    since = said[-1][0]
    for time, came in reversed(said):
        if came - time < _late_ms(rate):
            break
        since = time
    return since


def right_since(said: Sequence[tuple[Millis, Millis]], rate: float = 1.0) -> Millis | None:
    """From when on a node's clock is right again, by its own time [ms]: its last words all came at once.

    >>> right_since([(n * 60_000, n * 60_000 + 500) for n in range(5)])
    0
    """
    last = said[-CLOCK_WORDS:]
    if len(last) < CLOCK_WORDS or any(came - time >= _late_ms(rate) for time, came in last):
        return None
    return last[0][0]


def _late_ms(rate: float) -> float:
    return CLOCK_OFF_MS * max(rate / 60.0, 1.0)


def battery_words(
    times: Sequence[Millis], values: Sequence[float], unit: str, empty_v: float | None = None
) -> str | None:
    """What is to be said of a battery by its course over days, None where nothing.

    times [ms], rising, with values in `unit`: "V" or "%EL". empty_v: the voltage at which it is empty, None
    for what its voltage lets one guess.

    >>> days = [day * 86_400_000 for day in range(8)]
    >>> battery_words(days, [4.0 - 0.09 * day for day in range(8)], "V")
    'its battery has 3.37 V left and falls: empty in a day or so'
    """
    if not values:
        return None
    now, empty = values[-1], _empty(values, unit, empty_v)
    if empty is None:
        return None
    left = f"its battery has {now:.3g} {'%' if unit == '%EL' else unit} left"
    if now <= empty:
        return f"{left}: change or charge it now"
    days = np.array(times, dtype=np.float64) / DAY_MS
    if len(values) < 3 or times[-1] - times[0] < LEAST_HISTORY_MS:
        return None
    slope = float(np.polyfit(days - days[-1], np.array(values), 1)[0])
    if slope >= 0.0 or not math.isfinite(slope):
        return None
    remaining = (now - empty) / -slope
    if remaining > SAID_DAYS:
        return None
    when = "in a day or so" if remaining < 1.5 else f"in about {remaining:.0f} days"
    return f"{left} and falls: empty {when}"


def behind_words(behind: Millis) -> str:
    """How far a clock is behind.

    >>> behind_words(3_600_000), behind_words(25 * 60_000)
    ('its clock is about 1 h behind', 'its clock is about 25 min behind')
    """
    words = f"{behind / HOUR_MS:.2g} h" if behind >= HOUR_MS else f"{behind // MINUTE_MS} min"
    return f"its clock is about {words} behind"


def _empty(values: Sequence[float], unit: str, empty_v: float | None) -> float | None:
    if unit == "%EL":
        return LOW_PCT
    if empty_v is not None:
        return empty_v
    most = max(values)
    if 3.4 < most <= 4.5:
        return LITHIUM_EMPTY_V
    return TWO_CELLS_EMPTY_V if 2.0 < most <= 3.4 else None
