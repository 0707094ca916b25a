"""The shop's quiet hours, by its own clock: from an evening to a morning, through every change of clocks."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sensors.clock import SECOND_MS, Millis


@dataclass(frozen=True)
class QuietHours:
    """From `begins` to before `ends`, every day, by the clock on the shop's wall; the same time means never.

    Where clocks are put back, the first of the two times that read `begins` counts and the last that reads
    `ends`; where they are put forward over one of them, the hour that is left out counts as quiet. So a night
    is one stretch, and its end comes once.

    >>> night = QuietHours(time(21), time(7), ZoneInfo("Europe/Helsinki"))
    >>> noon = 1772452800000  # 2 March 2026, 12:00 UTC
    >>> night.holds(noon), (night.ends_after(noon + 8 * 3_600_000) - noon) / 3_600_000
    (False, 17.0)
    """

    begins: time
    ends: time
    zone: ZoneInfo

    def holds(self, now: Millis) -> bool:
        """Whether that time is quiet."""
        return self.ends_after(now) is not None

    def ends_after(self, now: Millis) -> Millis | None:
        """When the quiet hours end that hold then [ms]; None where none do."""
        if self.begins == self.ends:
            return None
        today = datetime.fromtimestamp(now / SECOND_MS, self.zone).date()
        for evening in (today - timedelta(days=1), today):
            begin, end = self._night(evening)
            if begin <= now < end:
                return end
        return None

    def _night(self, evening: date) -> tuple[Millis, Millis]:
        morning = evening if self.ends > self.begins else evening + timedelta(days=1)
        return min(self._times(evening, self.begins)), max(self._times(morning, self.ends))

    def _times(self, day: date, clock: time) -> tuple[Millis, Millis]:
        """Both moments at which the wall's clock could read that: the same one but for two nights a year."""
        first, second = (datetime.combine(day, clock, self.zone).replace(fold=fold) for fold in (0, 1))
        return round(first.timestamp() * SECOND_MS), round(second.timestamp() * SECOND_MS)
