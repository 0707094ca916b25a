"""What is foreseen gives way to what was heard: a notice never waits for a forecast."""

from collections.abc import Iterator

import pytest

from sensors.air import BLOCK_MS
from sensors.clock import MINUTE_MS
from sensors.reading import Reading
from server.drying.air_course import AirCourse
from server.drying.verdict import Ahead
from server.judging import TreeJudge
from server.store import dips, recipes, trees
from server.store.engine import Engine
from server.store.values import NewDip, NewTree
from server.tree_warnings import TreeWarnings
from tests.service.records import PLACE, START, steady
from tests.service.test_live import SPOTS, Shop, between


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    for rack in shop.racks:
        rack.close()


def an_hour_after_the_dip(shop: Shop, others: int = 0) -> None:
    """Heron, and so many other trees, got their first coat an hour ago, in air that is known since."""
    recipe = recipes.ensure_default(shop.engine)
    for number in range(others):
        name = f"Teal {number}"
        tree = trees.add_tree(shop.engine, NewTree(name, f"B{number}", PLACE, recipe.id, 25.0, SPOTS), START)
        dips.add_dip(shop.engine, NewDip(tree.id, START, START))
    shop.dip(0.0)
    shop.say(steady(START, 1.0))
    shop.at(1.0)


def test_forecasts_give_way_to_a_reading_that_ends_a_block(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    an_hour_after_the_dip(shop, others=3)
    rack = shop.unlooked_rack()
    made: list[str] = []
    real = TreeJudge.ahead
    ends = (shop.clock.now() // BLOCK_MS + 1) * BLOCK_MS
    rack.hear([Reading(PLACE, "n1", "temperature", "Cel", 21.0, ends - MINUTE_MS)], shop.arrived + 1)
    shop.clock.time = ends  # a look after the block's end and before its reading does not take that for heard
    rack.look(forecast=False)

    def ahead(judge: TreeJudge, course: AirCourse | None = None) -> tuple[Ahead, ...]:
        made.append(judge.tree.label)
        if len(made) == 1:
            rack.hear([Reading(PLACE, "n1", "temperature", "Cel", 21.0, ends - 1)], shop.arrived + 2)
        if len(made) == 2:
            rack.hear([Reading(PLACE, "n1", "temperature", "Cel", 21.0, ends)], shop.arrived + 3)
        return real(judge, course)

    monkeypatch.setattr(TreeJudge, "ahead", ahead)
    rack.foresee()
    assert len(made) == 2, "within the block it goes on, at the block's end it stops after the tree at hand"
    rack.look()
    assert sorted(made) == ["Heron", "Teal 0", "Teal 1", "Teal 2"], "the others had their turn then"


def test_a_forecast_leaves_what_was_heard_since_to_the_look_that_tells_of_it(shop: Shop) -> None:
    an_hour_after_the_dip(shop)
    rack = shop.rack()
    [before] = rack.outlooks()
    shop.say(between(1, 1 / 6), rack)
    shop.at(1.0 + 1 / 6)
    [foreseen] = rack.foresee()
    assert foreseen.as_of == before.as_of
    [after] = rack.look(forecast=False)
    assert after.as_of == before.as_of + BLOCK_MS


def test_nights_that_are_foreseen_give_way_to_a_reading_that_ends_a_block(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    an_hour_after_the_dip(shop, others=1)
    rack = shop.rack()
    seen: list[int] = []
    ends = (shop.clock.now() // BLOCK_MS + 1) * BLOCK_MS

    def night(_warnings: TreeWarnings, tree_id: int, *_: object) -> None:
        seen.append(tree_id)
        rack.hear([Reading(PLACE, "n1", "temperature", "Cel", 21.0, ends)], shop.arrived + len(seen))

    monkeypatch.setattr(TreeWarnings, "foresee", night)
    rack.foresee()
    assert len(seen) == 1
