"""The shop's own time: its zone, and when it closes."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from sensors.clock import SECOND_MS, Millis

ZONE_SETTING = "time_zone"
"""Key of the shop's setting for its zone, as the time zone database calls it ("Europe/Helsinki")."""

CLOSES_SETTING = "closes_at"
"""Key of the shop's setting for when it closes, by its own clock ("18:00")."""

USUAL_CLOSING = time(18, 0)


def zone_of(setting: object) -> ZoneInfo:
    """The zone of a setting, UTC where there is none of that name.

    >>> zone_of("Europe/Helsinki").key, zone_of("Atlantis").key, zone_of(None).key
    ('Europe/Helsinki', 'UTC', 'UTC')
    """
    try:
        return ZoneInfo(setting) if isinstance(setting, str) and setting else ZoneInfo("UTC")
    except (KeyError, ValueError, OSError):
        return ZoneInfo("UTC")


def closing_of(setting: object) -> time:
    """The closing time of a setting, six in the evening where none was set.

    Raises ValueError, naming the value, where it is no time of day.

    >>> closing_of("17:30"), closing_of(None)
    (datetime.time(17, 30), datetime.time(18, 0))
    >>> closing_of("25:00")
    Traceback (most recent call last):
    ...
    ValueError: closing time '25:00' is not a time of day from 00:00 to 23:59
    """
    if setting is None:
        return USUAL_CLOSING
    try:
        return datetime.strptime(str(setting), "%H:%M").time()  # noqa: DTZ007 - a time of day has no zone
    except ValueError:
        raise ValueError(f"closing time {setting!r} is not a time of day from 00:00 to 23:59") from None


def next_closing(now: Millis, closes: time, zone: ZoneInfo) -> Millis:
    """When the shop closes next, at `now` or after [ms].

    >>> noon = 1772452800000  # 2 March 2026, 12:00 UTC
    >>> (next_closing(noon, time(18, 0), ZoneInfo("Europe/Helsinki")) - noon) / 3_600_000
    4.0
    """
    local = datetime.fromtimestamp(now / SECOND_MS, zone)
    closing = datetime.combine(local.date(), closes, zone)
    if round(closing.timestamp() * SECOND_MS) < now:
        closing = datetime.combine(local.date() + timedelta(days=1), closes, zone)
    return round(closing.timestamp() * SECOND_MS)


def local_date(moment: Millis, zone: ZoneInfo) -> str:
    """The shop's date of a time.

    >>> local_date(1772452800000, ZoneInfo("UTC"))
    '2026-03-02'
    """
    return datetime.fromtimestamp(moment / SECOND_MS, zone).date().isoformat()
