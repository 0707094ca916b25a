"""What arrives at the service, printed live, and why something was kept out: `slowcorner listen`."""

import time
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from sensors.clock import MINUTE_MS, SECOND_MS, Millis
from sensors.reading import Reading
from server.data_folder import DATABASE, in_use
from server.settings import Settings
from server.shop_hours import ZONE_SETTING, zone_of
from server.store import readings as reading_store
from server.store import shop
from server.store.arrivals import Arrivals, arrivals_after, mark_now
from server.store.engine import Engine, StoreError, open_store
from server.store.values import KeptRejection
from server.terminal import fail, out

LOOK_S = 0.5
"""How often the store is looked at [s]."""

QUIET_S = 60.0
"""After so long a silence it is said that nothing comes [s]."""

LATE_MS = 2 * MINUTE_MS
"""A reading that is older than this when it comes is shown with its own time [ms]."""

PAYLOAD_SHOWN = 160


def listen(
    settings: Settings, before: int, seconds: float | None, wait: Callable[[float], None] = time.sleep
) -> None:
    """Print what arrives until it is told to stop, or for so many seconds; first what was kept out before.

    `wait` passes the time between two looks [s].
    """
    if not settings.database and not (settings.data / DATABASE).exists():
        fail(f"there is no store in {settings.data} yet: start `slowcorner serve` with that folder first")
    try:
        engine = open_store(settings.database_url)
    except StoreError as error:
        fail(str(error))
    try:
        _follow(engine, settings, before, seconds, wait)
    except KeyboardInterrupt:
        pass
    except StoreError as error:
        fail(str(error))
    finally:
        engine.dispose()


def _follow(
    engine: Engine, settings: Settings, before: int, seconds: float | None, wait: Callable[[float], None]
) -> None:
    zone = zone_of(shop.setting(engine, ZONE_SETTING))
    mark = mark_now(engine)
    for kept_out in reversed(reading_store.rejections(engine, before)):
        _say(kept_out_line(kept_out, zone))
    if not settings.database and not in_use(settings.data):
        _say(f"No service is at work on {settings.data}: nothing will arrive until `slowcorner serve` runs.")
    _say("Listening. Each line is what a node said, or why it was kept out. Ctrl-C ends.")
    began = quiet_since = time.monotonic()
    while seconds is None or time.monotonic() - began < seconds:
        came = arrivals_after(engine, mark)
        for line in lines(came, zone):
            _say(line)
            quiet_since = time.monotonic()
        mark = came.mark
        if time.monotonic() - quiet_since > QUIET_S:
            quiet_since = time.monotonic()
            _say(
                "Nothing came for a minute. A node that is not let in is shown here too, so it does not "
                "reach this machine: look at its Wi-Fi, the address it publishes to, and the port."
            )
        wait(LOOK_S)


def lines(came: Arrivals, zone: ZoneInfo) -> Iterator[str]:
    """What came, one line for each pack, status and rejection."""
    for status in came.statuses:
        word = "is there" if status.online else "is gone"
        yield f"{_clock(status.at, zone)}  {status.place}/{status.node}  {word}"
    by_pack = groupby(came.readings, key=lambda one: (one[0], one[1].place, one[1].node, one[1].time))
    for (arrived, place, node, said), pack in by_pack:
        late = f"  (of {_clock(said, zone)})" if arrived - said > LATE_MS else ""
        yield f"{_clock(arrived, zone)}  {place}/{node}  {_figures([one for _, one in pack])}{late}"
    for kept_out in came.rejections:
        yield kept_out_line(kept_out, zone)


def kept_out_line(one: KeptRejection, zone: ZoneInfo) -> str:
    """What was kept out, with its reason and the beginning of its payload."""
    text = one.payload[:PAYLOAD_SHOWN].decode("utf-8", "replace")
    plain = "".join(sign if sign.isprintable() else "·" for sign in text)
    more = "…" if len(one.payload) > PAYLOAD_SHOWN else ""
    payload = f"\n{' ' * 10}{plain}{more}" if plain else ""
    return f"{_clock(one.arrived, zone)}  KEPT OUT  {one.source}: {one.reason}{payload}"


def _figures(said: Sequence[Reading]) -> str:
    return ", ".join(f"{one.name} {one.value:g} {one.unit}" for one in sorted(said, key=lambda one: one.name))


def _clock(moment: Millis, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(moment / SECOND_MS, zone):%H:%M:%S}"


def _say(line: str) -> None:
    out.print(line, markup=False, highlight=False, soft_wrap=True)
