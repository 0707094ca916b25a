"""The one clock. Everything that asks for the time is handed a clock; nothing reads the machine's by itself.

Shop time is the time the shop lives in: the machine's own in a real shop, a faster one in the demo.
Inside the program a time is a count of milliseconds since 1970-01-01T00:00Z (`Millis`), so that it can be
stored, compared and cut into blocks exactly.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol

Millis = int

SECOND_MS = 1_000
MINUTE_MS = 60 * SECOND_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


class Clock(Protocol):
    """Tells shop time."""

    @property
    def rate(self) -> float:
        """Shop seconds that pass in one second of the wall [-]."""
        ...

    def now(self) -> Millis:
        """Shop time now [ms since 1970, UTC]."""
        ...


@dataclass(frozen=True)
class ShopClock:
    """Shop time = shop anchor + rate × (wall − wall anchor).

    The anchors and the rate are kept in the store, so that a restarted shop goes on from where it was.

    >>> clock = ShopClock(shop_anchor=0, wall_anchor=10_000, rate=300.0, wall=lambda: 12_000)
    >>> clock.now()
    600000
    """

    shop_anchor: Millis
    wall_anchor: Millis
    rate: float
    wall: Callable[[], Millis]

    def now(self) -> Millis:
        """Shop time now [ms since 1970, UTC]."""
        return self.shop_anchor + round((self.wall() - self.wall_anchor) * self.rate)

    def wall_seconds_until(self, shop_time: Millis) -> float:
        """Seconds of the wall until that shop time [s]; negative if it is past."""
        return (shop_time - self.now()) / self.rate / SECOND_MS


@dataclass
class SetClock:
    """A clock that stands until it is moved: for tests and for replays."""

    time: Millis
    rate: float = 1.0

    def now(self) -> Millis:
        """The time it was set to [ms since 1970, UTC]."""
        return self.time

    def advance(self, millis: Millis) -> None:
        """Move on by that many milliseconds."""
        self.time += millis


def wall_millis() -> Millis:
    """The machine's own clock [ms since 1970, UTC]."""
    return time.time_ns() // 1_000_000


def real_clock() -> ShopClock:
    """The clock of a real shop: the machine's own."""
    return ShopClock(shop_anchor=0, wall_anchor=0, rate=1.0, wall=wall_millis)


def parse_time(text: str) -> Millis:
    """Read an RFC 3339 time with its zone.

    Raises ValueError when it is no time or has no zone: a time without a zone is a guess.

    >>> parse_time("1970-01-01T01:00:00+01:00")
    0
    >>> parse_time("2026-03-02T06:00:00Z")
    1772431200000
    >>> parse_time("2026-03-02 06:00")
    Traceback (most recent call last):
    ...
    ValueError: time '2026-03-02 06:00' has no zone: add Z for UTC, or an offset like +01:00
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"time {text!r} is not a time like 2026-03-02T06:00:00Z") from None
    if moment.tzinfo is None:
        raise ValueError(f"time {text!r} has no zone: add Z for UTC, or an offset like +01:00")
    return round(moment.timestamp() * SECOND_MS)


def format_time(moment: Millis) -> str:
    """Write a time as RFC 3339 in UTC, to the second or, where needed, the millisecond.

    >>> format_time(0), format_time(1772431200250)
    ('1970-01-01T00:00:00Z', '2026-03-02T06:00:00.250Z')
    """
    timespec = "milliseconds" if moment % SECOND_MS else "seconds"
    stamp = datetime.fromtimestamp(moment / SECOND_MS, UTC).isoformat(timespec=timespec)
    return stamp.replace("+00:00", "Z")
