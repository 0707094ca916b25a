"""Where an air record has gaps, as pages and API tell them.

Between two readings not too far apart the air is known; after the last one it is not known yet, and becomes
known
with the next reading. So the end of a record is a gap only once it is older than two readings may lie apart.
"""

from collections.abc import Sequence

from sensors.air import GAP_LIMIT_MS
from sensors.clock import Millis
from server.verdicts import AirPoint

Gap = tuple[Millis, Millis]
"""From the first time that is not known to the next one that is [shop ms]."""


def known(point: AirPoint) -> bool:
    """Whether the air is known at a point."""
    return point.temp_c is not None and point.rh_pct is not None


def settled(air: Sequence[AirPoint], now: Millis) -> Sequence[AirPoint]:
    """The record without an end that is merely not known yet."""
    last = next((at for at in range(len(air) - 1, -1, -1) if known(air[at])), -1)
    unknown = air[last + 1 :]
    return air[: last + 1] if unknown and unknown[0].time > now - GAP_LIMIT_MS else air


def gaps(air: Sequence[AirPoint], end: Millis, now: Millis) -> list[Gap]:
    """The gaps of a record that goes up to `end`.

    >>> hour = 3_600_000
    >>> air = [AirPoint(0, 20.0, 50.0), AirPoint(hour, None, None), AirPoint(2 * hour, 20.0, 50.0)]
    >>> gaps([*air, AirPoint(3 * hour, None, None)], 4 * hour, now=4 * hour)
    [(3600000, 7200000)]
    >>> gaps([*air, AirPoint(3 * hour, None, None)], 4 * hour, now=9 * hour)
    [(3600000, 7200000), (10800000, 14400000)]
    """
    found: list[Gap] = []
    opened: Millis | None = None
    for point in settled(air, now):
        if known(point) and opened is not None:
            found.append((opened, point.time))
            opened = None
        elif not known(point) and opened is None:
            opened = point.time
    if opened is not None and end > opened:
        found.append((opened, end))
    return found
