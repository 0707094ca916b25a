"""The clock of the demo: shop time runs faster than the wall's, and a restart goes on from where it was."""

from collections.abc import Callable

from sensors.clock import Millis, ShopClock
from server.store import readings, shop
from server.store.engine import Engine


def taken_up(engine: Engine, rate: float, first: Millis, wall: Callable[[], Millis]) -> ShopClock:
    """A clock that goes on from the shop time that was kept, or from `first` [ms] where none was.

    Shop time never goes back behind a reading that came: the newest arrival counts as kept, too.
    """
    kept = shop.clock_anchor(engine)
    resumed = first if kept is None else max(kept.shop_anchor, readings.newest_arrival(engine))
    clock = ShopClock(shop_anchor=resumed, wall_anchor=wall(), rate=rate, wall=wall)
    keep(engine, clock)
    return clock


def keep(engine: Engine, clock: ShopClock) -> None:
    """Remember where shop time stands now."""
    wall = clock.wall()
    shop.set_clock_anchor(engine, clock.now(), wall, clock.rate)
