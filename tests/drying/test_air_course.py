"""A forecast of the air in the run ahead: the same where it is sure and even, wider where it is in doubt."""

from dataclasses import replace

import numpy as np
import pytest

from sensors.air import Air
from server.drying.air_course import AirCourse
from server.drying.coming_coats import ComingAir, coat_seconds
from server.drying.drawing import drawn
from server.drying.ensemble import ALONE
from server.drying.materials import coat
from server.drying.verdict import tree_ahead
from server.drying.whatif import fresh_shells

AIR = Air(20.0, 50.0, 0.6)
HOURS = np.array([0.0, 24.0, 240.0])


def course(
    rh_pct: tuple[float, float, float] = (50.0, 50.0, 50.0), temp_off: float = 0.0, rh_off: float = 0.0
) -> AirCourse:
    flat = np.ones(3)
    return AirCourse(3600.0 * HOURS, 20.0 * flat, np.array(rh_pct), temp_off * flat, rh_off * flat, AIR)


def test_even_air_that_is_sure_is_air_that_goes_on_as_it_is() -> None:
    ensemble = drawn(32)
    shells = fresh_shells("backup", 3, AIR, 25.0, 2.0, ("face",), ensemble.members)
    (plain,) = tree_ahead(shells, AIR, ensemble)
    (foretold,) = tree_ahead(shells, AIR, ensemble, course=course())
    both = np.isfinite(plain.fit_s)
    assert (both == np.isfinite(foretold.fit_s)).all()
    assert np.abs(foretold.fit_s[both] / plain.fit_s[both] - 1.0).max() < 1e-9


def test_the_doubt_of_the_forecast_widens_what_is_said_and_changes_no_shell() -> None:
    ensemble = drawn(32)
    shells = fresh_shells("backup", 3, AIR, 25.0, 2.0, ("face",), ensemble.members)
    before = shells[0].to_bytes()
    wide = []
    for doubt in (0.0, 12.0):
        (ahead,) = tree_ahead(shells, AIR, ensemble, course=course(rh_off=doubt, temp_off=doubt / 6.0))
        low, _, high = ensemble.spread(ahead.fit_s)
        wide.append(high / low)
    assert wide[1] > 1.15 * wide[0]
    assert shells[0].to_bytes() == before
    assert ahead.course[-1][1].members is shells[0].members


def test_damp_air_that_passes_lets_the_coat_come_fit_after_it() -> None:
    damp = replace(AIR, rh_pct=96.0)
    shells = fresh_shells("backup", 3, damp, 25.0, 2.0, ("face",))
    assert tree_ahead(shells, damp)[0].seconds is None
    passing = course((96.0, 50.0, 50.0))
    seconds = tree_ahead(shells, damp, course=replace(passing, now=damp))[0].seconds
    assert seconds is not None
    # It crosses 90 %RH, over which nothing is called fit, 3.1 h from now.
    assert seconds > 3.1 * 3600.0


def test_coats_to_come_take_what_the_same_coat_takes_alone_and_longer_in_doubtful_air() -> None:
    coats = [coat("prime"), coat("prime"), coat("backup"), coat("seal")]
    times = coat_seconds(coats, "face", 25.0, ComingAir(AIR, 0.0, 0.0), ALONE)
    shells = fresh_shells("backup", 3, AIR, 25.0, 2.0, ("face",))
    alone = tree_ahead(shells, AIR, ALONE)[0].seconds
    assert times[2, 0] == pytest.approx(alone, rel=1e-9)
    assert times[1, 0] == times[0, 0]
    ensemble = drawn(32)
    sure = coat_seconds(coats[:3], "face", 25.0, ComingAir(AIR, 0.0, 0.0), ensemble)
    doubtful = coat_seconds(coats[:3], "face", 25.0, ComingAir(AIR, 2.0, 12.0), ensemble)
    assert ensemble.quantile(doubtful[0], 0.9) > ensemble.quantile(sure[0], 0.9)
