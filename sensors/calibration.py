"""Calibration: points at which a node and the truth were both known, the line through them, and its use.

Readings stay as they came. A line holds from a time on, and what is known of the air is derived from the
readings through the lines, so that a line that is added or taken back changes all it should and nothing else.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Literal

from sensors.clock import DAY_MS, Millis
from sensors.reading import QUANTITIES, Reading

CalibratedQuantity = Literal["temperature", "humidity"]

LEAST_SLOPE, MOST_SLOPE = 0.8, 1.25
"""A line steeper or flatter than this is a broken sensor, or a slip; assumed."""

DUE_AFTER_MS = 365 * DAY_MS
"""A hygrometer is checked once a year: common practice [ms]."""


@dataclass(frozen=True)
class Limits:
    """What a calibration may do to a quantity, in its unit; all assumed.

    most: how far it may move a value at one of its points. apart: points nearer to each other than this tell
    no slope. beyond: how far outside its points a line is taken to hold.
    """

    most: float
    apart: float
    beyond: float


LIMITS: dict[str, Limits] = {"humidity": Limits(15.0, 20.0, 10.0), "temperature": Limits(5.0, 5.0, 5.0)}
UNITS = {"humidity": "%RH", "temperature": "K"}
"""Of differences."""
SIGNS = {"humidity": "%RH", "temperature": "°C"}
"""Of values."""


class CalibrationError(ValueError):
    """A calibration that cannot be: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class Point:
    """Where the node said `said` and `right` was right, within `error` (one standard deviation)."""

    said: float
    right: float
    error: float


@dataclass(frozen=True)
class Line:
    """right value = slope x said value + shift.

    residual: the largest miss at a point, in the unit; None where as many points as coefficients leave none.
    low, high: the said values between which it is taken to hold.
    """

    slope: float
    shift: float
    residual: float | None
    low: float
    high: float


@dataclass(frozen=True)
class Correction:
    """A line that corrects one quantity of a node of a place from `from_ms` on."""

    node: str
    quantity: str
    from_ms: Millis
    slope: float
    shift: float


def fit_line(quantity: str, points: Sequence[Point]) -> Line:
    """The line through the points by least squares, each weighted by 1 / error².

    One point, or points too near to each other to tell a slope, give a shift only.
    Raises CalibrationError where there is no point, or where the line would move values too far.

    >>> fit_line("humidity", [Point(30.0, 32.8, 0.5), Point(70.0, 75.3, 0.5)])
    Line(slope=1.0625, shift=0.925, residual=None, low=20.0, high=80.0)
    """
    limits = LIMITS[quantity]
    _check_points(quantity, points)
    weights = [1.0 / point.error**2 for point in points]
    total = sum(weights)
    said = sum(weight * point.said for weight, point in zip(weights, points, strict=True)) / total
    right = sum(weight * point.right for weight, point in zip(weights, points, strict=True)) / total
    values = [point.said for point in points]
    sloped = max(values) - min(values) >= limits.apart
    slope = 1.0
    if sloped:
        square = sum(w * (point.said - said) ** 2 for w, point in zip(weights, points, strict=True))
        product = sum(
            w * (point.said - said) * (point.right - right) for w, point in zip(weights, points, strict=True)
        )
        slope = round(product / square, 9)
    shift = round(right - slope * said, 9)
    if not LEAST_SLOPE <= slope <= MOST_SLOPE:
        raise CalibrationError(
            f"the line's slope would be {slope:.2f}, outside {LEAST_SLOPE:g} to {MOST_SLOPE:g}: "
            "look for a broken sensor or a mistaken point"
        )
    unit = UNITS[quantity]
    for value in values:
        moved = slope * value + shift - value
        if abs(moved) > limits.most:
            raise CalibrationError(
                f"{quantity} {value:.1f} {SIGNS[quantity]} would be moved by {moved:+.1f} {unit}, more than "
                f"{limits.most:g} {unit}: look for a broken sensor or a mistaken point"
            )
    misses = [abs(slope * point.said + shift - point.right) for point in points]
    residual = max(misses) if len(points) > (2 if sloped else 1) else None
    return Line(slope, shift, residual, *held_between(quantity, values))


def held_between(quantity: str, said: Sequence[float]) -> tuple[float, float]:
    """The said values between which a line through those points is taken to hold, in the unit."""
    limits, range_ = LIMITS[quantity], QUANTITIES[quantity]
    low, high = min(said) - limits.beyond, max(said) + limits.beyond
    return max(low, range_.lowest), min(high, range_.highest)


def _check_points(quantity: str, points: Sequence[Point]) -> None:
    if not points:
        raise CalibrationError(f"a calibration of {quantity} needs one point at least")
    bounds, unit = QUANTITIES[quantity], UNITS[quantity]
    for point in points:
        for thing, value in (("the node's", point.said), ("the right", point.right)):
            if not bounds.lowest <= value <= bounds.highest:
                raise CalibrationError(
                    f"{thing} {quantity} {value:g} {SIGNS[quantity]} is outside "
                    f"{bounds.lowest:g} to {bounds.highest:g} {SIGNS[quantity]}"
                )
        if not 0.01 <= point.error <= 10.0:
            raise CalibrationError(
                f"the error {point.error:g} {unit} of a point of {quantity} is outside "
                f"0.01 {unit} to 10 {unit}"
            )


@dataclass(frozen=True)
class Corrections:
    """The corrections of one place. Of two that hold at a time, the one from the later time on is used.

    Where two are from the same time on, it is the later one in `corrections`.
    """

    corrections: Sequence[Correction] = ()
    _lines: dict[tuple[str, str], list[Correction]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        lines: dict[tuple[str, str], list[Correction]] = {}
        for one in sorted(self.corrections, key=lambda one: one.from_ms):
            lines.setdefault((one.node, one.quantity), []).append(one)
        # Newest first, and of several from one time the last said first.
        object.__setattr__(self, "_lines", {key: found[::-1] for key, found in lines.items()})

    def apply(self, reading: Reading) -> Reading:
        """The reading as it is right; the same one where no correction holds at its time.

        Humidity is kept within 0 to 100 %RH.
        """
        for one in self._lines.get((reading.node, reading.name), ()):
            if one.from_ms <= reading.time:
                value = one.slope * reading.value + one.shift
                if reading.name == "humidity":
                    value = min(max(value, 0.0), 100.0)
                # Not `replace`, which takes thrice as long: a start corrects months of minutes.
                return Reading(reading.place, reading.node, reading.name, reading.unit, value, reading.time)
        return reading


def due(calibrated: Iterable[tuple[str, Millis]], nodes: Iterable[str], now: Millis) -> list[str]:
    """The nodes, of those of a place, whose humidity was not calibrated within the last year.

    `calibrated`: (node, when [ms]) of each calibration of humidity that stands.

    >>> due([("n1", 0)], ["n1", "n2"], 100 * DAY_MS)
    ['n2']
    """
    newest = {
        node: max(when for _, when in group)
        for node, group in groupby(sorted(calibrated), key=lambda one: one[0])
    }
    return [node for node in nodes if node not in newest or now - newest[node] > DUE_AFTER_MS]
