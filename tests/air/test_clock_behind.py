"""Why the only node of a place counts though its clock is behind: leaving it out would lose more.

Beside others it is left out, see `server.clock_desk`; here is what the air record makes of it until then.

A node that gives no time of its own cannot be behind: its readings are of when they came. A clock that is
ahead by over five minutes is kept out as it comes (`senml.AHEAD_LIMIT_MS`). What is left is a clock that is
behind: its figures are right and are taken for older than they are. Tried on a week of a real office's air.
"""

from collections.abc import Sequence

import numpy as np
import pytest

from sensors.air import Air, PlaceAir
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from tests.air.test_faults import ERRORS, Floats, office

STEP: Millis = 5 * MINUTE_MS
GAP_LIMIT_OF_THE_SHOP = 2 * HOUR_MS


def week() -> tuple[Sequence[int], Floats, Floats]:
    times, temp, rh = office()
    said = np.arange(times[0], times[0] + 5 * DAY_MS, STEP, dtype=np.int64)
    return said.tolist(), np.interp(said, times, temp), np.interp(said, times, rh)


def air_of(behind: Sequence[Millis]) -> PlaceAir:
    """The record of a place at the week's end, told by nodes whose clocks are so far behind [ms]."""
    times, temp, rh = week()
    air = PlaceAir(0.3)
    for at, (late, (dt, dh)) in enumerate(zip(behind, ERRORS, strict=False)):
        air.add(
            Reading("shop", f"n{at}", name, unit, value + error, time - late)
            for name, unit, values, error in (("temperature", "Cel", temp, dt), ("humidity", "%RH", rh, dh))
            for time, value in zip(times, values.tolist(), strict=True)
        )
    return air


def errors(air: PlaceAir) -> tuple[Floats, Floats]:
    """How far the record is from the truth over the hours of the week, in K and %RH; NaN: not known."""
    times, temp, rh = week()
    off = []
    for start in range(times[0] + HOUR_MS, times[-1] - 3 * HOUR_MS, HOUR_MS):
        mean: Air | None = air.mean(start, start + 10 * MINUTE_MS)
        middle = start + 5 * MINUTE_MS
        true = np.interp(middle, times, temp), np.interp(middle, times, rh)
        off.append((np.nan, np.nan) if mean is None else (mean.temp_c - true[0], mean.rh_pct - true[1]))
    return tuple(np.abs(np.array(off)).T)


def test_a_lone_node_an_hour_behind_tells_of_the_air_within_what_an_hour_changes() -> None:
    """Left out, nothing would be known of the place, and every tree there would be unsure."""
    (right_temp, right_rh), (temp, rh) = errors(air_of([0])), errors(air_of([HOUR_MS]))
    assert np.isfinite(temp).all()
    assert np.median(temp) - np.median(right_temp) < 0.2
    assert temp.max() - right_temp.max() < 1.0
    assert rh.max() - right_rh.max() < 4.0


def test_what_a_lone_node_says_gets_too_old_by_itself() -> None:
    """Behind by more than the shop's gap limit, its place has no air of now, and its trees are unsure."""
    last = week()[0][-1]
    for behind in (HOUR_MS, 3 * HOUR_MS):
        latest = air_of([behind]).latest()
        assert latest is not None
        assert last - latest[0] == behind
        assert (last - latest[0] > GAP_LIMIT_OF_THE_SHOP) == (behind > 2 * HOUR_MS)


@pytest.mark.parametrize("hours", [1, 6])
def test_among_three_it_is_left_out_where_it_matters(hours: int) -> None:
    """Far behind, it disagrees with the other two, and is left out from then until it agrees again."""
    air = air_of([0, 0, hours * HOUR_MS])
    temp, rh = errors(air)
    assert np.isfinite(temp).all()
    # No worse than one good sensor alone may be.
    assert temp.max() <= 0.31
    assert rh.max() <= 3.1
    left_out = [fault for fault in air.faults() if fault.leaves_out]
    assert {fault.node for fault in left_out} == ({"n2"} if hours == 6 else set())
    assert all(fault.end is not None for fault in left_out)
