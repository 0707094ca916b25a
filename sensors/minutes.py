"""The minutes of a place: what its nodes that count said in each, combined, and how far they are apart."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from sensors.clock import MINUTE_MS, Millis
from sensors.humid_air import relative_humidity_pct, vapour_pressure_pa
from sensors.series import Series
from sensors.traces import Stated

MIDDLE_MS = MINUTE_MS // 2

AIR_NAMES = ("temperature", "humidity")
HEARD_NAMES = (*AIR_NAMES, "airspeed")


class NodeAir:
    """The series of one node that bear on the air, and its stated errors."""

    def __init__(self, gap_limit: Millis) -> None:
        self.series = {name: Series(gap_limit) for name in HEARD_NAMES}
        self.heard: set[str] = set()
        self.stated = Stated()

    @property
    def complete(self) -> bool:
        """Whether it ever told both temperature and humidity."""
        return "temperature" in self.heard and "humidity" in self.heard

    @property
    def newest(self) -> Millis:
        """The time of its newest word on either [ms]; only of a complete one."""
        return max(self.series[name].last for name in AIR_NAMES)


@dataclass(frozen=True)
class Minute:
    """A minute's air; temp_wide, rh_wide: its error over a single sensor's own [-], at least 1."""

    temp_c: float
    vapour_pa: float
    speed_m_s: float
    temp_wide: float = 1.0
    rh_wide: float = 1.0


def minutes(
    nodes: Mapping[str, NodeAir],
    first: int,
    last: int,
    speed_m_s: float,
    counts: Callable[[str, Millis], bool],
) -> list[Minute] | None:
    """The minutes from number `first` (since 1970) to before `last`, None if one of them has no air.

    `counts` says whether a node counts at a moment [ms]. `speed_m_s` holds where no node measures it [m/s].
    """
    moments = range(first * MINUTE_MS + MIDDLE_MS, last * MINUTE_MS, MINUTE_MS)
    told: list[list[tuple[float, float, Stated]]] = [[] for _ in moments]
    speeds: list[list[float]] = [[] for _ in moments]
    # In the order of names and not of arrival, so that vectors are the same ones to the last bit.
    for name in sorted(nodes):
        node = nodes[name]
        if "airspeed" in node.heard:
            for i, speed in enumerate(node.series["airspeed"].at(moments)):
                if speed is not None:
                    speeds[i].append(speed)
        if not node.complete:
            continue
        pairs = zip(*(node.series[quantity].at(moments) for quantity in AIR_NAMES), strict=True)
        for i, (temp, humidity) in enumerate(pairs):
            if temp is not None and humidity is not None and counts(name, moments[i]):
                told[i].append((temp, humidity, node.stated))
    if not all(told):
        return None
    flat = vapour_pressure_pa(
        np.array([temp for row in told for temp, _, _ in row]),
        np.array([humidity for row in told for _, humidity, _ in row]),
    ).tolist()
    found = []
    taken = 0
    for i, row in enumerate(told):
        vapour = flat[taken : taken + len(row)]
        taken += len(row)
        temps = [temp for temp, _, _ in row]
        found.append(
            Minute(
                median(temps),
                median(vapour),
                median(speeds[i]) if speeds[i] else speed_m_s,
                wider(temps, max(stated.temp_error_c for _, _, stated in row)),
                wider([humidity for _, humidity, _ in row], max(stated.rh_error_pct for _, _, stated in row)),
            )
        )
    return found


def wider(values: list[float], stated: float) -> float:
    """How much less sure several values are than one sensor with that stated error is [-], at least 1.

    An error of ± e, spread evenly, and a range of values r, spread evenly too, against e alone. Sensors that
    agree count as one: they hang in one place and may err together.

    >>> wider([50.0], 3.0), wider([50.0, 52.0], 3.0), wider([40.0, 60.0], 3.0)
    (1.0, 1.0, 3.4801021696368504)
    """
    apart = max(values) - min(values)
    # Within both errors' reach nothing is out of the ordinary.
    if apart <= 2.0 * stated:
        return 1.0
    return math.hypot(2.0 * stated, apart) / (2.0 * stated)


def median(values: list[float]) -> float:
    """The middle value, or the mean of the middle two."""
    if len(values) == 1:
        return values[0]
    ranked = sorted(values)
    half = len(ranked) // 2
    return ranked[half] if len(ranked) % 2 else 0.5 * (ranked[half - 1] + ranked[half])


def mean_of(found: list[Minute], shares: list[int]) -> tuple[float, float, float, float, float]:
    """Temperature [°C], humidity [%RH], speed [m/s] and the two widths, each minute counted by its share."""
    whole = sum(shares)
    parts = list(zip(found, shares, strict=True))

    def mean(read: Callable[[Minute], float]) -> float:
        return math.fsum(read(minute) * share for minute, share in parts) / whole

    temp, vapour = mean(lambda one: one.temp_c), mean(lambda one: one.vapour_pa)
    humidity = float(relative_humidity_pct(temp, vapour))
    return (
        temp,
        min(max(humidity, 0.0), 100.0),
        mean(lambda one: one.speed_m_s),
        mean(lambda one: one.temp_wide),
        mean(lambda one: one.rh_wide),
    )
