"""How long coats to come will dry: kept while it holds, by the shop's own dry limit."""

from dataclasses import replace

import numpy as np
import pytest

from sensors.air import Air
from server.coat_times import CoatTimes
from server.dry_rules import DRY_SETTING
from server.drying.coming_coats import ComingAir
from server.drying.ensemble import ALONE
from server.planning import PlanDesk
from server.store import shop as shop_store
from server.store.values import Tree
from tests.service.fake_shop import FakeShop

EXPECTED = ComingAir(Air(20.0, 50.0, 0.6), 1.5, 6.0)


@pytest.fixture
def tree(shop: FakeShop) -> Tree:
    return shop.hang("Heron", "A1", spots=(("face", "body"),))


def test_the_last_answer_stands_while_the_air_is_as_near_as_the_forecast_is_sure(tree: Tree) -> None:
    times = CoatTimes()
    usual, sure = times.of(tree, EXPECTED, ALONE)
    assert not sure
    times.wait(60.0)
    reckoned, sure = times.of(tree, EXPECTED, ALONE)
    assert sure
    assert not np.allclose(reckoned, usual)
    damper = replace(EXPECTED, air=replace(EXPECTED.air, rh_pct=55.0))
    meanwhile, sure = times.of(tree, damper, ALONE)
    assert sure
    assert np.array_equal(meanwhile, reckoned)
    times.wait(60.0)
    anew, sure = times.of(tree, damper, ALONE)
    assert sure
    assert anew[3, 0] > 1.02 * reckoned[3, 0]
    # Air that is further off than that, or moves otherwise, is another matter.
    for other in (replace(EXPECTED.air, rh_pct=65.0), replace(EXPECTED.air, speed_m_s=0.2)):
        assert times.of(tree, replace(EXPECTED, air=other), ALONE)[1] is False
    # Nor do trees of another place, in whose air nothing was reckoned, take an answer over.
    elsewhere = replace(EXPECTED, air=replace(EXPECTED.air, rh_pct=57.5))
    assert times.of(replace(tree, place="cellar"), elsewhere, ALONE)[1] is False
    times.wait(60.0)


def test_what_is_asked_anew_takes_the_place_of_what_was_not_begun(tree: Tree) -> None:
    times = CoatTimes()
    for number in range(24):
        air = replace(EXPECTED.air, rh_pct=20.0 + 2.5 * number)
        times.of(tree, ComingAir(air, 0.0, 0.0), ALONE)
    times.wait(60.0)
    # One or a few were begun while they were asked for, and then the last.
    assert len(times._known) < 20
    assert len(times._asked) == 0


def test_the_shop_s_dry_limit_is_what_the_last_coat_dries_to(shop: FakeShop, tree: Tree) -> None:
    desk = PlanDesk()
    lengths = []
    for limit_pct in (2.0, 0.2):
        shop_store.set_setting(shop.engine, DRY_SETTING, limit_pct)
        desk.plan(shop.engine, shop.rack, shop.clock)
        desk.times.wait(60.0)
        (ahead,) = desk.plan(shop.engine, shop.rack, shop.clock).trees
        assert ahead.sure
        lengths.append([coat.dry[1] - coat.dips[1] for coat in ahead.coats])
    lax, strict = lengths
    assert strict[-1] > lax[-1] + 1_800_000
    assert strict[0] == lax[0]
