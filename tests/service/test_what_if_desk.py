"""What would save time, asked of the live rack."""

from collections.abc import Iterator

import pytest

from sensors.air import PlaceAir
from sensors.clock import HOUR_MS
from server.drying.materials import coat
from server.drying.warning_limits import limits_said
from server.drying.whatif import WhatIf
from server.judging import TreeJudge
from server.shop_rules import LIMITS_SETTING
from server.store.engine import Engine
from server.store.shop import set_setting
from server.tree_record import CoatDip, JudgedTree
from server.what_if_desk import WhatIfDesk
from tests.service.records import START
from tests.service.test_live import Shop, between


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine, members=4)
    yield shop
    for rack in shop.racks:
        rack.close()


def test_it_is_worked_out_from_the_tree_as_it_stands(shop: Shop) -> None:
    rack = shop.rack()
    assert rack.what_if(shop.tree.id) is None  # no coat yet
    assert rack.what_if(999) is None
    shop.dip(0.0)
    shop.say(between(0, 2), rack)
    shop.at(2)
    rack.refresh(shop.tree.id)
    found = rack.what_if(shop.tree.id)
    assert found is not None
    codes = {change.code: change for change in found.changes}
    assert "prime" in codes["fan"].refused
    opened = codes["joint:90"].saved
    assert opened.p10 is not None
    assert opened.p50 is not None
    assert opened.p90 is not None
    assert 0.0 <= opened.p10 <= opened.p50 <= opened.p90
    assert rack.what_if(shop.tree.id) is found  # nothing moved, so nothing is reckoned again
    # What is said of the tree as it is, is what its forecast says, but for members that are not waited for.
    outlook = rack.outlooks()[0]
    assert outlook.fit_at.p50 is not None
    assert found.as_it_is.p50 is not None
    assert outlook.fit_at.p50 - outlook.as_of == pytest.approx(found.as_it_is.p50 * 1000, abs=1.0)

    shop.say(between(2, 1), rack)
    shop.at(3)
    rack.look()
    later = rack.what_if(shop.tree.id)
    assert later is not None
    assert later is not found
    for then, now in ((found.as_it_is.p50, later.as_it_is.p50), (found.as_it_is.p90, later.as_it_is.p90)):
        assert then is not None
        assert now is not None
        assert now == pytest.approx(max(then - 3600.0, 0.0), abs=1200.0)


def test_a_coat_that_came_fit_is_left_alone(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(between(0, 120))
    shop.at(119)
    rack = shop.rack()
    assert rack.outlooks()[0].state == "fit"
    found = rack.what_if(shop.tree.id)
    assert found is not None
    assert found.as_it_is.p90 == 0.0
    assert "prime" in found.changes[0].refused


def test_it_goes_by_the_limits_it_is_asked_with() -> None:
    air = PlaceAir(0.6)
    air.add(between(0, 2))
    tree = JudgedTree("Heron", 25.0, (("face", "body"),), 4)
    judge = TreeJudge(tree, (CoatDip(1, coat("backup"), START),), air)
    judge.advance(START + 2 * HOUR_MS)
    desk = WhatIfDesk()

    def refused(found: object) -> str:
        assert isinstance(found, WhatIf)
        return next(change.refused for change in found.changes if change.code == "drier")

    usual = desk.ask(1, judge)
    assert refused(usual) == ""
    own = limits_said({"backup.rh_low_pct": 49})
    assert refused(desk.ask(1, judge, own)) == "Under 49 %RH a backup coat would dry too fast."
    assert refused(desk.ask(1, judge)) == ""  # an answer by other limits is not given again


def test_the_rack_asks_with_the_limits_that_the_shop_set(shop: Shop) -> None:
    for hours in (0.0, 1.0, 2.0):
        shop.dip(hours)
    shop.say(between(0, 4))
    shop.at(4)
    rack = shop.rack()

    def refused() -> str:
        found = rack.what_if(shop.tree.id)
        assert found is not None
        return next(change.refused for change in found.changes if change.code == "drier")

    assert refused() == ""
    set_setting(shop.engine, LIMITS_SETTING, {"backup.rh_low_pct": 49})
    assert refused() == "Under 49 %RH a backup coat would dry too fast."
