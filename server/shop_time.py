"""The clock of the demo: shop time runs faster than the wall's, and a restart goes on from where it was."""

from collections.abc import Callable

from sensors.clock import Millis, ShopClock
from server.store import readings, shop
from server.store.engine import Engine


class HeldClock:
    """A shop clock that stands until it is let go, so that no shop hours pass while the service starts."""

    def __init__(self, shop_anchor: Millis, rate: float, wall: Callable[[], Millis]) -> None:
        self._shop_anchor = shop_anchor
        self._rate = rate
        self._wall = wall
        self._running: ShopClock | None = None

    @property
    def rate(self) -> float:
        """Shop seconds that pass in one second of the wall [-]."""
        return self._rate

    def now(self) -> Millis:
        """Shop time now [ms since 1970, UTC]."""
        return self._shop_anchor if self._running is None else self._running.now()

    def go(self) -> None:
        """Let it run from where it stands."""
        self._running = ShopClock(self._shop_anchor, self._wall(), self._rate, self._wall)

    def keep(self, engine: Engine) -> None:
        """Remember in the store where shop time stands."""
        shop.set_clock_anchor(engine, self.now(), self._wall(), self._rate)


def taken_up(engine: Engine, rate: float, first: Millis, wall: Callable[[], Millis]) -> HeldClock:
    """A clock that stands at the shop time that was kept, or at `first` [ms] where none was.

    Shop time never goes back behind a reading that came: the newest arrival counts as kept, too.
    """
    kept = shop.clock_anchor(engine)
    resumed = first if kept is None else max(kept.shop_anchor, readings.newest_arrival(engine))
    clock = HeldClock(resumed, rate, wall)
    clock.keep(engine)
    return clock
