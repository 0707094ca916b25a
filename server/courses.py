"""How a coat dried, as is kept of it once the next one is on: few points, with their spread."""

from collections.abc import Sequence

from sensors.clock import Millis
from server.drying.ensemble import Ensemble
from server.drying.shell import SpotShell
from server.drying.verdict import thin
from server.verdicts import Band, Course, Curve

MOST_POINTS = 24
"""Points kept of a coat that another one is over: enough to draw it, and little to save."""


def with_spread(
    bands: Sequence[Band], at: Millis, shells: Sequence[SpotShell], by: Ensemble
) -> tuple[Band, ...]:
    """The spread at each spot, with what it is at a time [ms] put on; `bands` are empty at first."""
    now = tuple(
        (at, by.quantile(left, 0.1), by.quantile(left, 0.9)) for left in (s.remaining() for s in shells)
    )
    return tuple((*band, point) for band, point in zip(bands or [()] * len(now), now, strict=True))


def courses(curves: Sequence[Curve], bands: Sequence[Band]) -> tuple[Course, ...]:
    """Each spot's course from its curve and its spread at the same times.

    >>> courses([((0, 1.0), (60, 0.5))], [((0, 1.0, 1.0), (60, 0.41234, 0.6))])
    (((0, 1.0, 1.0, 1.0), (60, 0.5, 0.4123, 0.6)),)
    """
    return tuple(
        tuple(
            (at, round(value, 4), round(low, 4), round(high, 4))
            for (at, value), (_, low, high) in thin(list(zip(curve, band, strict=True)), MOST_POINTS)
        )
        for curve, band in zip(curves, bands, strict=True)
    )
