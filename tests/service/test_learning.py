"""A place learns from what was measured on its trees: kept, judged by, told in words, and forgotten."""

from collections.abc import Iterator, Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from sensors.clock import HOUR_MS, Millis, SetClock
from server.believing import believed, prior_ensemble, set_believed
from server.drying.ensemble import Ensemble
from server.drying.learning import Told
from server.following import coat_dip
from server.learning_desk import measured_trees, members_of, newest
from server.learning_record import MeasuredTree, looks, width
from server.live import LiveRack
from server.store import dips, ensembles, measurements, places, readings, recipes, saved, trees
from server.store.engine import Engine
from server.store.shop import set_setting
from server.store.values import MeasuredKind, NewDip, NewMeasurement, NewTree, Place, TreeSpot
from tests.service.records import PLACE, START, record, steady

SPOTS = (TreeSpot("face", "body"), TreeSpot("joint:45", "vent joint"))

AREA_M2 = 1.0
"""Large enough that what parts the members, some 10 g in two hours, is more than a scale's own error."""


class Shop:
    """A shop with one tree, dipped at its start, in steady air up to now, two hours later."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        set_believed(engine, members=16)
        self.clock = SetClock(START + 2 * HOUR_MS)
        places.add_place(engine, Place(PLACE, "Drying room", 0.6))
        recipe = recipes.ensure_default(engine)
        new = NewTree("Heron", "A1", PLACE, recipe.id, 25.0, SPOTS, area_m2=AREA_M2)
        self.tree = trees.add_tree(engine, new, START)
        dips.add_dip(engine, NewDip(self.tree.id, START, START))
        readings.keep(engine, steady(START, 2.0), [], [], START)
        self.racks: list[LiveRack] = []

    def rack(self) -> LiveRack:
        """A rack taken up from the store, as after a start."""
        rack = LiveRack(self.engine, self.clock)
        self.racks.append(rack)
        rack.open()
        rack.look()
        return rack

    def measure(
        self,
        hours: float,
        kind: MeasuredKind = "weighing",
        value: float | None = None,
        spot: str | None = None,
        word: str | None = None,
    ) -> int:
        """Keep a measurement so many hours after the dip."""
        at: Millis = START + round(hours * HOUR_MS)
        new = NewMeasurement(self.tree.id, kind, at, at, spot, value, None, word)
        return measurements.add_measurement(self.engine, new)[0].id

    def weigh_slowly(self) -> float:
        """Weigh a tree that dries as the slowest but one of the members says; the change in all [kg]."""
        hours = (0.1, 0.5, 0.9, 1.3, 1.9)
        water = self.foretold(hours)
        slow = np.argsort(water[-1] / water[0])[-2]
        for at, kg in zip(hours, 2.0 + AREA_M2 * water[:, slow], strict=True):
            self.measure(at, value=round(float(kg), 3))
        return float(water[-1, slow] - water[0, slow]) * AREA_M2

    def foretold(self, hours: Sequence[float], ensemble: Ensemble | None = None) -> NDArray[np.float64]:
        """Water at those hours by each member, as drawn unless said [kg/m²], (n, M)."""
        air = record(steady(START, 2.0))
        coat = coat_dip(self.tree, dips.dips(self.engine, self.tree.id)[0])
        told = tuple(Told(0, "weighing", "face", 1) for _ in hours)
        at = tuple(START + round(hour * HOUR_MS) for hour in hours)
        judged_by = ensemble or prior_ensemble(self.engine, believed(self.engine))
        seen = looks(MeasuredTree(25.0, AREA_M2, (coat,), air, told, at), judged_by.members)
        return np.stack([look.water_kg_m2 for look in seen])


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    for rack in shop.racks:
        rack.close()


def test_a_place_learns_and_its_trees_are_judged_by_it(shop: Shop) -> None:
    rack = shop.rack()
    before = rack.tree(shop.tree.id)
    lost = shop.weigh_slowly()
    rack.learn(PLACE, "measured")
    rack.look()
    after = rack.tree(shop.tree.id)
    kept = ensembles.latest(shop.engine, PLACE)
    assert kept is not None
    assert (kept.generation, kept.cause) == (1, "measured")
    assert [number for number, _ in kept.evidence] == [1, 2, 3, 4, 5]
    drawn = prior_ensemble(shop.engine, believed(shop.engine))
    held = newest(shop.engine, PLACE, drawn)

    def foretold(ensemble: Ensemble) -> float:
        water = shop.foretold((0.1, 1.9), ensemble)
        return ensemble.mean(water[1] - water[0]) * AREA_M2

    assert abs(foretold(held) - lost) < 0.5 * abs(foretold(drawn) - lost)
    assert before is not None
    assert after is not None
    assert before.spots[0].code == "face"
    assert after.spots[0].water_left > before.spots[0].water_left


@pytest.mark.parametrize("cache", ["kept", "gone"])
def test_a_restart_goes_on_with_what_was_learned(shop: Shop, cache: str) -> None:
    rack = shop.rack()
    shop.weigh_slowly()
    rack.learn(PLACE, "measured")
    before = rack.look()
    if cache == "gone":
        saved.forget_states(shop.engine, shop.tree.id, 0)
    assert shop.rack().outlooks() == before


def test_what_was_learned_can_be_forgotten(shop: Shop) -> None:
    rack = shop.rack()
    before = rack.look()
    shop.weigh_slowly()
    rack.learn(PLACE, "measured")
    assert rack.look() != before
    rack.learn(PLACE, "forgotten")
    assert rack.look() == before
    assert [one.cause for one in ensembles.generations(shop.engine, PLACE)] == ["measured", "forgotten"]
    # What was measured before stays in the record, and is not learned from again.
    assert measured_trees(shop.engine, PLACE, shop.clock.now()) == []
    rack.learn(PLACE, "measured")
    assert rack.look() == before


def test_learning_again_from_the_same_record_gives_the_same_members(shop: Shop) -> None:
    shop.weigh_slowly()
    taken = shop.measure(1.95, "touch", spot="joint:45", word="dry")
    shop.rack().learn(PLACE, "measured")
    shop.racks[0].look()
    with_touch = ensembles.latest(shop.engine, PLACE)
    measurements.undo_measurement(shop.engine, shop.tree.id, taken, shop.clock.now())
    shop.racks[0].learn(PLACE, "undone")
    shop.racks[0].look()
    without = ensembles.latest(shop.engine, PLACE)
    assert with_touch is not None
    assert without is not None
    assert with_touch.weights != without.weights
    assert [number for number, _ in without.evidence] == [1, 2, 3, 4, 5]


def test_a_generation_is_taken_up_to_the_bit(shop: Shop) -> None:
    rack = shop.rack()
    shop.weigh_slowly()
    rack.learn(PLACE, "measured")
    rack.look()
    held = rack._judged_by.ensemble_of(PLACE)
    assert newest(shop.engine, PLACE, held).key == held.key
    kept = ensembles.latest(shop.engine, PLACE)
    assert kept is not None
    assert np.array_equal(members_of(kept).diffusivity, held.members.diffusivity)


def test_a_finer_scale_tells_more_of_the_same_weighings(shop: Shop) -> None:
    """The spread of what remains by the members that learned; a surface has the thermometer's error."""
    shop.weigh_slowly()
    at: Millis = START + HOUR_MS
    surface = NewMeasurement(shop.tree.id, "surface_temp", at, at, "face", 17.0, 20.5, None)
    measurements.add_measurement(shop.engine, surface)

    def spread() -> float:
        rack = shop.rack()
        rack.learn(PLACE, "instruments")
        rack.look()
        held = newest(shop.engine, PLACE, prior_ensemble(shop.engine, believed(shop.engine)))
        water = shop.foretold((0.1, 1.9), held)
        off = water[1] - water[0] - held.mean(water[1] - water[0])
        return float(np.sqrt(held.mean(off**2)))

    usual = spread()
    set_setting(shop.engine, "scale_reads_to_g", 1)
    set_setting(shop.engine, "thermometer_off_k", 0.2)
    told = measured_trees(shop.engine, PLACE, shop.clock.now())[0].told
    assert {one.kind: one.error for one in told} == {"weighing": 0.0004, "surface_temp": 0.2}
    assert spread() < 0.8 * usual


def test_a_scale_off_by_a_kilogram_is_disbelieved(shop: Shop) -> None:
    rack = shop.rack()
    hours = (0.1, 0.5, 0.9, 1.3, 1.9)
    masses = 2.0 + AREA_M2 * np.median(shop.foretold(hours), axis=1) + np.array([0.0, 0.0, 1.0, 0.0, 0.0])
    for at, kg in zip(hours, masses, strict=True):
        shop.measure(at, value=round(float(kg), 3))
    rack.learn(PLACE, "measured")
    rack.look()
    kept = ensembles.latest(shop.engine, PLACE)
    assert kept is not None
    assert [share > 0.5 for _, share in kept.evidence] == [False, False, True, False, False]


def test_one_measurement_a_day_is_asked_for(shop: Shop) -> None:
    rack = shop.rack()
    asked = rack.advice()
    assert asked is not None
    assert asked.tree_id == shop.tree.id
    assert asked.narrowed < 1.0
    assert asked.at > START + HOUR_MS
    # After a restart the same is asked for, and once it was made, nothing more on that day.
    assert shop.rack().advice() == asked
    spot = None if asked.kind == "weighing" else asked.spot
    word = {"touch": "damp", "colour": "dark"}.get(asked.kind)
    kind: MeasuredKind = "weighing"
    for one in ("touch", "colour", "surface_temp"):
        if asked.kind == one:
            kind = one
    shop.measure(1.95, kind, 2.1 if word is None else None, spot, word)
    rack.look()
    assert rack.advice() is None


def test_one_member_asks_for_nothing_and_learns_nothing(shop: Shop) -> None:
    set_believed(shop.engine, members=1)
    rack = shop.rack()
    before = rack.outlooks()
    shop.measure(0.5, value=2.1)
    rack.learn(PLACE, "measured")
    assert rack.look() == before
    assert rack.advice() is None


@pytest.mark.parametrize(
    ("coats", "count", "wide"),
    [((10,), 32, 256), ((1,), 16, 128), (tuple(range(1, 11)), 32, 76), (tuple(range(1, 41)), 32, 32)],
)
def test_the_more_coats_were_measured_the_narrower_learning_begins(
    coats: tuple[int, ...], count: int, wide: int
) -> None:
    """Three coats of 256 points are gone through for one measurement, ten of 76 for one on each of ten."""
    told = tuple(Told(coat, "touch", "joint:30", coat, word="dry") for coat in coats)
    tree = MeasuredTree(25.0, None, (), record(steady(START, 2.0)), told, tuple(START for _ in coats))
    assert width(count, [tree]) == wide
