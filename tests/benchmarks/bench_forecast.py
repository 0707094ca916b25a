"""The forecast of the air over a year of a made-up shop's air, made of typical weather out of a package.

`python -m tests.benchmarks.bench_forecast` prints the root mean square error at 1, 6 and 24 h beside two
plain rules, the air as it is now and the mean of the last day, and how often the truth lay within what was
said (80 % band). Ends with 1 where it does not beat both everywhere.
"""

import sys
from dataclasses import dataclass

import numpy as np

from sensors.air_forecast import RECORD_H, forecast
from sensors.clock import HOUR_MS
from sensors.shop_air import Room
from sensors.simulated import CELLAR
from tests.air.weather_year import STATIONS, hourly, weather_year

LEADS_H = (1, 6, 24)
EVERY_H = 5
"""Origins are so far apart [h], so that every hour of the day comes up."""
SHED = Room(75.0, 2.0, 110.0, stored_heat=25.0, heater_w=0.0, other_heat_w=100.0, water_kg_h=0.03)
"""A draughty shed without a heater, by which nothing of the forecast was chosen; its figures are assumed."""

BAND = 1.2816
"""Half the width of an 80 % band, in standard deviations of a normal error."""


@dataclass(frozen=True)
class Row:
    """Errors at one lead: ours, persistence's, the last day's mean's; and the share within the band."""

    lead_h: int
    ours: float
    persistence: float
    daily_mean: float
    within: float

    @property
    def beats_both(self) -> bool:
        """Whether it is less off than either plain rule."""
        return self.ours < min(self.persistence, self.daily_mean)


def back_test(station: str, room: Room, every_h: int = EVERY_H) -> dict[str, list[Row]]:
    """Errors over the year, for "temperature" [K] and "humidity" [%RH]."""
    temp, rh = hourly(weather_year(station), room)
    missed: dict[tuple[str, int], list[tuple[float, float, float, float]]] = {}
    for now in range(RECORD_H, temp.size - max(LEADS_H), every_h):
        ahead = forecast(now * HOUR_MS, temp[now - RECORD_H : now], rh[now - RECORD_H : now], hours=24)
        assert ahead is not None
        for lead in LEADS_H:
            for name, truth, said, off in (
                ("temperature", temp, ahead.temp_c, ahead.temp_off),
                ("humidity", rh, ahead.rh_pct, ahead.rh_off),
            ):
                # The newest hour known is now - 1, so a lead of h is the hour now - 1 + h.
                real = truth[now - 1 + lead]
                missed.setdefault((name, lead), []).append(
                    (
                        said[lead - 1] - real,
                        truth[now - 1] - real,
                        truth[now - 24 : now].mean() - real,
                        off[lead - 1],
                    )
                )
    table: dict[str, list[Row]] = {"temperature": [], "humidity": []}
    for (name, lead), rows in missed.items():
        ours, stays, mean, off = np.array(rows).T
        mine, now_rms, mean_rms = (float(np.sqrt(np.mean(errors**2))) for errors in (ours, stays, mean))
        table[name].append(Row(lead, mine, now_rms, mean_rms, float(np.mean(np.abs(ours) <= BAND * off))))
    return table


def main() -> int:
    """Print the table."""
    good = True
    for station in STATIONS:
        for name, room in (("heated room", Room()), ("unheated cellar", CELLAR), ("shed", SHED)):
            for quantity, rows in back_test(station, room).items():
                unit = "K" if quantity == "temperature" else "%RH"
                for row in rows:
                    good &= row.beats_both
                    print(
                        f"{station:11} {name:16} {quantity:12} {row.lead_h:3d} h: {row.ours:5.2f} {unit:3}"
                        f"  as now {row.persistence:5.2f}  last day's mean {row.daily_mean:5.2f}"
                        f"  within the 80 % band {row.within:4.0%}  {'' if row.beats_both else 'NOT BETTER'}"
                    )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
