"""The air of a place as a chart: temperature, dew point, humidity, and how fast a wet face would dry."""

from collections.abc import Sequence
from datetime import tzinfo

import numpy as np

from sensors.air import Air
from sensors.clock import MINUTE_MS, Millis
from sensors.humid_air import STANDARD_PRESSURE_PA, dew_point_c
from server.drying.transfer import covers
from server.drying.wet_face import wet_face_g_m2h
from server.pages.axes import TimeAxis
from server.pages.strips import GAP, HEIGHT, Line, Strip, Values, humidity_strip, strip_svg, temperatures
from server.pages.svg import LEFT, RIGHT, svg, text, time_labels
from server.units import SI, Units
from server.verdicts import AirPoint

ROW = 18.0
"""Height of the line that shows when a node was left out."""


def air_svg(
    air: Sequence[AirPoint],
    speed_m_s: float,
    left_out: Sequence[tuple[str, Sequence[tuple[Millis, Millis]]]],
    end: Millis,
    zone: tzinfo,
    pressure_pa: float = STANDARD_PRESSURE_PA,
    units: Units = SI,
) -> str:
    """A place's air up to `end`; empty when nothing is known.

    left_out: nodes that did not count, each with the stretches (from, to) in which it did not [ms].
    pressure_pa: of the air [Pa]. units: the shop's.
    """
    if len(air) < 2 or all(point.temp_c is None for point in air):
        return ""
    axis = TimeAxis(air[0].time, max(end, air[-1].time, air[0].time + MINUTE_MS), LEFT, RIGHT, zone)
    temperature = Line(temperatures(air, units), "air")
    dew_c, rate = derived(air, speed_m_s, pressure_pa)
    dew = [(time, None if value is None else units.temp(value)) for time, value in dew_c]
    strips = (
        Strip("Temperature and dew point", units.temp_sign, 2.0, (temperature, Line(dew, "dew"))),
        humidity_strip(air),
        Strip("A wet face would dry at", "g/m²h", 50.0, (Line(rate),)),
    )
    body: list[str] = []
    bottom = -14.0
    for strip in strips:
        body += strip_svg(strip, axis, bottom + GAP)
        bottom += GAP + HEIGHT
    rows = bottom
    for node, spans in left_out:
        rows += ROW
        body += _left_out(node, spans, axis, rows)
    if rows > bottom:
        rows += 4.0
    body += time_labels(axis, rows)
    return svg(
        rows + 26, "Temperature, dew point, humidity, and the rate at which a wet face would dry", body
    )


def derived(
    air: Sequence[AirPoint], speed_m_s: float, pressure_pa: float = STANDARD_PRESSURE_PA
) -> tuple[Values, Values]:
    """Dew point [°C] and drying rate of a wet face [g/m²h] at each time; the model's range is kept to."""
    times = [point.time for point in air]
    known = [
        at
        for at, point in enumerate(air)
        if point.temp_c is not None
        and point.rh_pct is not None
        and covers(Air(point.temp_c, point.rh_pct, speed_m_s))
    ]
    dew: list[float | None] = [None] * len(air)
    rate: list[float | None] = [None] * len(air)
    if known:
        temp = np.array([air[at].temp_c for at in known], dtype=float)
        rh = np.array([air[at].rh_pct for at in known], dtype=float)
        dews = dew_point_c(temp, np.maximum(rh, 1.0))
        rates = wet_face_g_m2h(temp, rh, speed_m_s, pressure_pa=pressure_pa)
        for at, one_dew, one_rate in zip(known, dews.tolist(), rates.tolist(), strict=True):
            dew[at], rate[at] = one_dew, one_rate
    return list(zip(times, dew, strict=True)), list(zip(times, rate, strict=True))


def _left_out(node: str, spans: Sequence[tuple[Millis, Millis]], axis: TimeAxis, y: float) -> list[str]:
    """A line of bars, one for each time in which the node did not count."""
    marks = [text(RIGHT + 7, y + 5, f"{node[:9]} left out", "start")]
    for start, end in spans:
        x, until = axis.x(max(start, axis.start)), axis.x(min(end, axis.end))
        marks.append(f'<path class="left-out" d="M{x:.1f} {y:g}H{max(until, x + 2):.1f}"/>')
    return marks
