"""The names of time zones that a person may choose from."""

from functools import cache
from zoneinfo import available_timezones


@cache
def zone_names() -> tuple[str, ...]:
    """Those of the time zone database that are named by a region and a city, and UTC, in order.

    >>> "Europe/Helsinki" in zone_names(), "UTC" in zone_names(), "posix/Europe/Helsinki" in zone_names()
    (True, True, False)
    """
    regions = ("Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe")
    known = (*regions, "Indian", "Pacific")
    found = sorted(name for name in available_timezones() if name.partition("/")[0] in known)
    return (*found, "UTC")
