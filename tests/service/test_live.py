"""The live rack over a real store: taken up again it says the same, whatever of its cache is left."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from scheduler.forecast import Outlook
from sensors.clock import HOUR_MS, MINUTE_MS, Millis, SetClock
from sensors.reading import Reading
from server.believing import set_believed
from server.live import LiveRack
from server.shop_settings import keep_settings
from server.store import dips, places, readings, recipes, saved, trees
from server.store.engine import Engine
from server.store.values import NewDip, NewTree, Place, TreeSpot
from tests.service.records import PLACE, START, steady

SPOTS = (TreeSpot("face", "body"), TreeSpot("joint:45", "vent joint"))


class Shop:
    """A shop with one tree, whose nodes and hours are in the test's hands."""

    def __init__(self, engine: Engine, members: int = 1) -> None:
        self.engine = engine
        set_believed(engine, members=members)
        self.clock = SetClock(START)
        self.arrived = START
        places.add_place(engine, Place(PLACE, "Drying room", 0.6))
        recipe = recipes.ensure_default(engine)
        self.tree = trees.add_tree(engine, NewTree("Heron", "A1", PLACE, recipe.id, 25.0, SPOTS), START)
        self.racks: list[LiveRack] = []

    def rack(self) -> LiveRack:
        """A rack taken up from the store, as after a start, that has gone on to now."""
        rack = self.unlooked_rack()
        rack.look()
        return rack

    def unlooked_rack(self) -> LiveRack:
        """A rack just taken up from the store, which has not gone on yet."""
        rack = LiveRack(self.engine, self.clock)
        self.racks.append(rack)
        rack.open()
        return rack

    def say(self, said: Sequence[Reading], rack: LiveRack | None = None) -> None:
        """Readings come in, in one commit; the rack hears of them if it is there to hear."""
        self.arrived += 1
        readings.keep(self.engine, said, [], [], self.arrived)
        if rack is not None:
            rack.hear(said, self.arrived)

    def dip(self, hours: float) -> int:
        """The next coat went on so many hours after the start."""
        at = START + round(hours * HOUR_MS)
        return dips.add_dip(self.engine, NewDip(self.tree.id, at, at)).id

    def at(self, hours: float) -> None:
        """Move the clock."""
        self.clock.time = START + round(hours * HOUR_MS)


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    for rack in shop.racks:
        rack.close()


def only(rack: LiveRack) -> Outlook:
    (outlook,) = rack.outlooks()
    return outlook


def between(start: float, hours: float, rh_pct: float = 50.0, node: str = "n1") -> list[Reading]:
    return steady(START + round(start * HOUR_MS), hours, rh_pct=rh_pct, node=node)


def test_a_tree_dries_comes_fit_and_is_dipped_again(shop: Shop) -> None:
    rack = shop.rack()
    assert only(rack).state == "new"
    shop.dip(0.25)
    shop.say(between(0, 2), rack)
    shop.at(2)
    rack.refresh(shop.tree.id)
    drying = only(rack)
    assert (drying.state, drying.coat, drying.of, drying.kind) == ("drying", 1, 10, "prime")
    assert drying.fit_at.p50 is not None
    assert drying.slowest_name in ("body", "vent joint")
    assert "of the latest dip's water is left at the" in drying.reason
    shop.say(between(2, 12), rack)
    shop.at(14)
    rack.look()
    fit = only(rack)
    assert fit.state == "fit"
    assert fit.fit_at.p50 is not None
    # What was forecast in steady air is what came, to a block of ten minutes.
    assert abs(fit.fit_at.p50 - drying.fit_at.p50) <= 10 * MINUTE_MS
    shop.dip(13.9)
    rack.refresh(shop.tree.id)
    again = only(rack)
    assert (again.state, again.coat) == ("drying", 2)


def test_thin_air_is_reckoned_with_and_a_restart_says_the_same(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(between(0, 2))
    shop.at(2)
    rack = shop.rack()
    low = only(rack)
    keep_settings(shop.engine, {"altitude_m": "2500"})
    rack.believe_anew()
    high = rack.look()[0]
    assert low.remaining is not None
    assert high.remaining is not None
    # It carries less heat to what evaporates: a wet coat is colder there, and dries a little later.
    assert low.remaining < high.remaining < 1.1 * low.remaining
    assert only(shop.rack()) == high


def test_an_undone_dip_brings_the_coat_before_back(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(between(0, 12))
    shop.at(12)
    rack = shop.rack()
    before = only(rack)
    dip_id = shop.dip(11.5)
    rack.refresh(shop.tree.id)
    assert only(rack).coat == 2
    dips.undo_dip(shop.engine, shop.tree.id, dip_id, shop.clock.now())
    rack.refresh(shop.tree.id)
    assert only(rack) == before


@pytest.mark.parametrize("cache", ["kept", "gone"])
def test_a_restart_changes_no_verdict(shop: Shop, cache: str) -> None:
    rack = shop.rack()
    shop.dip(0.0)
    shop.dip(8.0)
    for hour in range(10):
        shop.say(between(hour, 1 - 1 / 12), rack)
        shop.at(hour + 1)
        rack.refresh(shop.tree.id) if hour == 0 else rack.look()
    before = rack.tree(shop.tree.id)
    if cache == "gone":
        saved.forget_states(shop.engine, shop.tree.id, 0)
    assert bool(saved.saved_states(shop.engine, shop.tree.id)) == (cache == "kept")
    assert shop.rack().tree(shop.tree.id) == before


def test_a_reading_that_came_late_and_unheard_is_judged_after_the_restart(shop: Shop) -> None:
    shop.dip(0.0)
    shop.say(between(0, 6))
    shop.at(6)
    rack = shop.rack()
    before = rack.tree(shop.tree.id)
    # Another node's damp air of two hours ago is on the disk, and the service died before it looked.
    shop.say(between(3, 1, rh_pct=85.0, node="n2"))
    taken_up = shop.rack().tree(shop.tree.id)
    saved.forget_states(shop.engine, shop.tree.id, 0)
    from_nothing = shop.rack().tree(shop.tree.id)
    assert taken_up == from_nothing != before


def test_a_silent_node_makes_unsure_but_never_takes_fit_back(shop: Shop) -> None:
    rack = shop.rack()
    shop.dip(0.0)
    shop.say(between(0, 1), rack)
    shop.at(1)
    rack.refresh(shop.tree.id)
    assert only(rack).state == "drying"
    shop.at(1 + 119 / 60)
    rack.look()
    assert only(rack).state == "drying"
    shop.at(1 + 121 / 60)
    rack.look()
    unsure = only(rack)
    assert unsure.state == "unsure"
    assert unsure.reason == (
        "The air at drying-room has not been known for 121 min; the limit is 120 min. Look at n1."
    )
    assert unsure.unsure_since == START + HOUR_MS
    assert unsure.fit_at.p50 is None
    shop.at(4)
    shop.say(between(4, 10), rack)
    shop.at(13)
    rack.look()
    assert only(rack).state == "fit"
    shop.at(24)
    rack.look()
    assert only(rack).state == "fit"
    verdict = rack.tree(shop.tree.id)
    assert verdict is not None
    assert "not known for 180 min" in verdict.warnings[0]
    assert "the worst of that hour in the last days" in verdict.warnings[0]
    again = shop.rack()
    again.look()
    taken_up = again.tree(shop.tree.id)
    assert taken_up is not None
    assert taken_up.coats == verdict.coats
    # A fit tree's forecast is made once, and at another time after a restart; the judging is the same.
    assert [replace(one, ahead=(), band_ahead=()) for one in taken_up.spots] == [
        replace(one, ahead=(), band_ahead=()) for one in verdict.spots
    ]


def test_the_shop_says_how_long_the_air_may_be_unknown(shop: Shop) -> None:
    rack = shop.rack()
    shop.dip(0.0)
    shop.say(between(0, 1), rack)
    keep_settings(shop.engine, {"gap_limit_minutes": "30"})
    shop.at(1 + 31 / 60)
    rack.refresh(shop.tree.id)
    assert only(rack).reason == (
        "The air at drying-room has not been known for 31 min; the limit is 30 min. Look at n1."
    )


def test_a_place_that_is_heard_before_it_is_named_has_the_speed_it_is_given(shop: Shop) -> None:
    rack = shop.rack()
    said = [reading._replace(place="attic") for reading in between(0, 6)]
    shop.say(said, rack)
    shop.at(6)
    rack.look()
    places.add_place(shop.engine, Place("attic", "Attic", 1.5))
    tree = trees.add_tree(
        shop.engine, NewTree("Teal", "B1", "attic", shop.tree.recipe.id, 25.0, SPOTS[:1]), shop.clock.now()
    )
    dips.add_dip(shop.engine, NewDip(tree.id, START, START))
    rack.refresh(tree.id)
    assert rack.tree(tree.id) == shop.rack().tree(tree.id)
    verdict = rack.tree(tree.id)
    assert verdict is not None
    assert verdict.outlook.state == "fit"


def test_a_tree_that_is_moved_dried_in_each_place_while_it_hung_there(shop: Shop) -> None:
    rack = shop.rack()
    places.add_place(shop.engine, Place("cellar", "Cellar", 0.6))
    stays = trees.add_tree(
        shop.engine, NewTree("Teal", "B1", PLACE, shop.tree.recipe.id, 25.0, SPOTS), shop.clock.now()
    )
    shop.dip(0.0)
    dips.add_dip(shop.engine, NewDip(stays.id, START, START))
    for hour in range(6):
        damp = [reading._replace(place="cellar") for reading in between(hour, 1 - 1 / 12, rh_pct=85.0)]
        shop.say([*between(hour, 1 - 1 / 12), *damp], rack)
        shop.at(hour + 1)
        if hour == 1:
            trees.amend_tree(shop.engine, shop.tree.id, now=shop.clock.now(), place="cellar")
        rack.refresh(shop.tree.id)
        rack.refresh(stays.id)
    moved, stayed = rack.tree(shop.tree.id), rack.tree(stays.id)
    assert moved is not None
    assert stayed is not None
    assert moved.outlook.place == "cellar"
    before, after = START + HOUR_MS, START + 4 * HOUR_MS
    for here, there in zip(moved.spots, stayed.spots, strict=True):
        assert dict(here.curve)[before] == dict(there.curve)[before]
        assert dict(here.curve)[after] > dict(there.curve)[after]
    assert shop.rack().tree(shop.tree.id) == moved


def test_a_tree_that_goes_on_by_another_recipe_is_judged_by_it_at_once(shop: Shop) -> None:
    rack = shop.rack()
    shop.dip(0.0)
    shop.say(between(0, 1), rack)
    shop.at(1)
    rack.refresh(shop.tree.id)
    before = rack.tree(shop.tree.id)
    one = recipes.add_recipe(shop.engine, "One coat", shop.tree.recipe.coats[:1])
    trees.amend_tree(shop.engine, shop.tree.id, now=shop.clock.now(), recipe=one.id)
    rack.refresh(shop.tree.id)
    after = rack.tree(shop.tree.id)
    assert before is not None
    assert after is not None
    assert (before.outlook.state, after.outlook.state) == ("drying", "resting")
    assert [spot.curve for spot in after.spots] == [spot.curve for spot in before.spots]
    assert shop.rack().tree(shop.tree.id) == after


def test_a_tree_that_left_the_rack_is_no_longer_judged(shop: Shop) -> None:
    rack = shop.rack()
    now: Millis = shop.clock.now()
    trees.take_off(shop.engine, shop.tree.id, "scrapped", now, "Ada", "cracked")
    rack.refresh(shop.tree.id)
    assert rack.outlooks() == []
    assert rack.tree(shop.tree.id) is None


def test_air_that_no_tree_needs_is_let_go_of_and_nothing_said_changes(engine: Engine) -> None:
    shop = Shop(engine)
    rack = shop.rack()
    kept = []
    for day in range(0, 40, 2):
        shop.say(steady(START + day * 24 * HOUR_MS, 48, step=30 * MINUTE_MS), rack)
        if day == 36:
            shop.dip(24 * day + 1)
            rack.refresh(shop.tree.id)
        shop.at(24 * (day + 2))
        rack.look()
        kept.append(
            sum(len(said) for said in rack._airs.of(PLACE)._nodes["n1"].series["humidity"].between(0, 2**62))
        )
    # Two days at a time come in; after the reach of what is looked back for, as much goes.
    assert max(kept) == kept[-1] < 1.2 * kept[-8]
    assert shop.rack().outlooks() == rack.outlooks()
