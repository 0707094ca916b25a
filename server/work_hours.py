"""When the caster works: from when to when, on which days of the week."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from sensors.clock import SECOND_MS, Millis
from server.shop_hours import closing_of
from server.shop_rules import shop_rules
from server.store import shop
from server.store.engine import Engine

HOURS_SETTING = "work_hours"
"""Key of the shop's setting: {"opens": "08:00", "days": [0, 1, …]}, Monday is 0."""

USUAL_OPENING = time(8, 0)
EVERY_DAY = tuple(range(7))
DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

Window = tuple[Millis, Millis]
"""From when to when there is work [ms]."""


class WorkHoursError(ValueError):
    """Hours of work that cannot be: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class WorkHours:
    """The hours of work: `days` of the week (Monday 0); none at all where that is empty."""

    opens: time
    closes: time
    days: tuple[int, ...]
    zone: ZoneInfo

    def windows(self, now: Millis, days: int) -> list[Window]:
        """The stretches of work from now on, today's cut at now [ms], within so many days."""
        today = datetime.fromtimestamp(now / SECOND_MS, self.zone).date()
        found = []
        for number in range(days):
            date = today + timedelta(days=number)
            if date.weekday() not in self.days:
                continue
            opens, closes = (
                round(datetime.combine(date, hour, self.zone).timestamp() * SECOND_MS)
                for hour in (self.opens, self.closes)
            )
            if closes > now:
                found.append((max(opens, now), closes))
        return found


def work_hours(engine: Engine) -> WorkHours:
    """The hours as they are set; from eight until the shop closes, every day, where nothing was set."""
    rules = shop_rules(engine)
    kept = shop.setting(engine, HOURS_SETTING)
    kept = kept if isinstance(kept, dict) else {}
    opens = closing_of(kept["opens"]) if "opens" in kept else min(USUAL_OPENING, rules.closes)
    return WorkHours(opens, rules.closes, tuple(kept.get("days", EVERY_DAY)), rules.zone)


def set_work_hours(engine: Engine, opens: str, days: list[int]) -> None:
    """Set when work begins ("08:00") and on which days. Raises WorkHoursError and changes nothing then."""
    closes = shop_rules(engine).closes
    try:
        begins = closing_of(opens)
    except ValueError:
        raise WorkHoursError(f"opening time {opens!r} is not a time of day from 00:00 to 23:59") from None
    if begins >= closes:
        raise WorkHoursError(f"opening time {opens} is not before the shop closes at {closes:%H:%M}")
    wrong = [day for day in days if day not in EVERY_DAY]
    if wrong:
        raise WorkHoursError(f"day {wrong[0]} of the week is outside 0 to 6 (Monday is 0)")
    shop.set_setting(engine, HOURS_SETTING, {"opens": opens, "days": sorted(set(days))})
