"""A load cell on a tree's hook: its curve is learned from as well as what a hand weighs."""

import random

import numpy as np
import pytest
from numpy.typing import NDArray

from sensors.clock import HOUR_MS, MINUTE_MS, SetClock
from sensors.reading import Reading
from server.believing import believed, prior_ensemble, set_believed
from server.dip_desk import Kept, Saying, take_dip
from server.drying.ensemble import Ensemble
from server.drying.learning import Told
from server.following import coat_dip
from server.learned_words import what_was_learned
from server.learning_desk import measured_trees, relearn
from server.learning_record import MeasuredTree, looks
from server.load_cells import points_of_coat
from server.store import dips, measurements, nodes, places, readings, recipes, trees
from server.store.engine import Engine, open_store
from server.store.nodes import NodeSettings
from server.store.values import NewDip, NewMeasurement, NewTree, Place, TreeSpot
from tests.service.fake_shop import Browser, FakeShop, problem
from tests.service.records import PLACE, START, record, steady

HOURS = 10
AREA_M2 = 1.0
TARE_KG = 3.0
HAND_H = (0.2, 0.5, 1.5, 3.0, 9.0)


class Shop:
    """A shop with one tree that was dipped ten hours ago, in steady air."""

    def __init__(self, engine: Engine) -> None:
        self.engine, self.now = engine, START + HOURS * HOUR_MS
        set_believed(engine, members=32)
        places.add_place(engine, Place(PLACE, "Drying room", 0.6))
        recipe = recipes.ensure_default(engine)
        new = NewTree("Heron", "A1", PLACE, recipe.id, 25.0, (TreeSpot("face", "body"),), area_m2=AREA_M2)
        self.tree = trees.add_tree(engine, new, START)
        dips.add_dip(engine, NewDip(self.tree.id, START, START))
        readings.keep(engine, steady(START, HOURS), [], [], START)
        self.settings = believed(engine)
        self.prior = prior_ensemble(engine, self.settings)

    def water(self, minutes: list[float], ensemble: Ensemble) -> NDArray[np.float64]:
        """Water at those minutes by each member [kg/m²], (n, M)."""
        coat = coat_dip(self.tree, dips.dips(self.engine, self.tree.id)[0])
        told = tuple(Told(0, "weighing", "face", 1) for _ in minutes)
        at = tuple(START + round(minute * MINUTE_MS) for minute in minutes)
        air = record(steady(START, HOURS))
        seen = looks(MeasuredTree(25.0, AREA_M2, (coat,), air, told, at), ensemble.members)
        return np.stack([look.water_kg_m2 for look in seen])

    def error(self, ensemble: Ensemble, truth: int) -> float:
        """How far the half-dry time is missed: |ln(foretold / true)|, by the mean curve [-]."""
        minutes = list(np.geomspace(2.0, 60.0 * HOURS, 40))
        true = self.water(minutes, self.prior)[:, truth] * 1.0
        mean = self.water(minutes, ensemble) @ ensemble.weights

        def half(curve: NDArray[np.float64]) -> float:
            return float(np.interp(-0.5 * true[0], -curve, np.log(minutes)))

        return abs(half(mean) - half(true))

    def hang(self, truth: int, seed: int) -> None:
        """A cell under the hook reads each minute: 2 g of noise, a gram of drift, three touches."""
        draw = random.Random(seed)
        nodes.set_node(self.engine, NodeSettings(PLACE, "cell", hook="A1"))
        minutes = [float(one) for one in range(1, 60 * HOURS)]
        water = self.water(minutes, self.prior)[:, truth]
        touched = [draw.randrange(0, 60 * HOURS) for _ in range(3)]
        said = []
        for minute, kg_m2 in zip(minutes, water, strict=True):
            kg = TARE_KG + AREA_M2 * float(kg_m2) + draw.gauss(0.0, 0.002) + 1e-4 * minute / 60.0
            kg += 1.0 if any(0 <= minute - one < 3 for one in touched) else 0.0
            said.append(Reading(PLACE, "cell", "mass", "kg", kg, START + round(minute * MINUTE_MS)))
        readings.keep(self.engine, said, [], [], self.now)

    def weigh(self, truth: int) -> None:
        """Five weighings by hand on a display of 5 g."""
        water = self.water([60.0 * hour for hour in HAND_H], self.prior)[:, truth]
        for hour, kg_m2 in zip(HAND_H, water, strict=True):
            at = START + round(hour * HOUR_MS)
            kg = round((TARE_KG + AREA_M2 * float(kg_m2)) / 0.005) * 0.005
            new = NewMeasurement(self.tree.id, "weighing", at, at, None, kg, None, None)
            measurements.add_measurement(self.engine, new)

    def learn(self) -> Ensemble:
        """What the place believes after it learned."""
        return relearn(self.engine, PLACE, self.prior, self.settings.priors, "load cell", self.now)


@pytest.fixture
def one(engine: Engine) -> Shop:
    return Shop(engine)


def test_a_cell_on_the_hook_gives_five_points_and_is_told_of(one: Shop) -> None:
    one.hang(3, 1)
    (measured,) = measured_trees(one.engine, PLACE, one.now)
    assert [told.coat for told in measured.told] == [1] * 5
    assert points_of_coat(one.engine, one.tree, 1, one.now) == 5
    assert points_of_coat(one.engine, one.tree, 1, START + HOUR_MS) == 2
    one.learn()
    assert "points of load cells" in what_was_learned(one.engine, PLACE).evidence
    assert measurements.place_measurements(one.engine, PLACE) == []


def test_a_cell_on_another_hook_says_nothing_of_the_tree(one: Shop) -> None:
    one.hang(3, 1)
    nodes.set_node(one.engine, NodeSettings(PLACE, "cell", hook="B7"))
    assert measured_trees(one.engine, PLACE, one.now) == []


def test_what_is_before_a_tree_moved_to_another_hook_is_all_of_that_coat(one: Shop) -> None:
    one.hang(3, 1)
    trees.amend_tree(one.engine, one.tree.id, hook="B7", now=START + HOUR_MS)
    (measured,) = measured_trees(one.engine, PLACE, one.now)
    assert [round((at - START) / MINUTE_MS) for at in measured.at] == [10, 30]


def test_forgetting_leaves_the_cell_s_points_of_before_aside(one: Shop) -> None:
    one.hang(3, 1)
    forgetting = SetClock(START + 2 * HOUR_MS).now()
    relearn(one.engine, PLACE, one.prior, one.settings.priors, "forgotten", forgetting)
    (measured,) = measured_trees(one.engine, PLACE, one.now)
    assert [round((at - START) / MINUTE_MS) for at in measured.at] == [180, 540]


@pytest.mark.parametrize("rank", [2, -3])
def test_a_cell_teaches_as_much_as_five_weighings_by_hand(
    tmp_path_factory: pytest.TempPathFactory, rank: int
) -> None:
    errors = {}
    for way in ("cell", "hand"):
        engine = open_store(f"sqlite:///{tmp_path_factory.mktemp(way)}/slowcorner.db")
        shop = Shop(engine)
        water = shop.water([12.0, 180.0], shop.prior)
        truth = int(np.argsort(water[1] / water[0])[rank])
        before = shop.error(shop.prior, truth)
        if way == "cell":
            shop.hang(truth, seed=rank + 10)
        else:
            shop.weigh(truth)
        errors[way] = shop.error(shop.learn(), truth)
        engine.dispose()
    assert errors["cell"] < 0.5 * before
    assert errors["cell"] <= errors["hand"] + 0.02


def test_a_hook_is_set_by_the_api_and_by_the_page(shop: FakeShop, web: Browser) -> None:
    weighed = [Reading(PLACE, name, "mass", "kg", 3.0, shop.clock.now()) for name in ("cell", "other")]
    readings.keep(shop.engine, weighed, [], [], shop.clock.now())
    answer = web.ask("PUT", f"/api/nodes/{PLACE}/cell", json={"hook": "A1", "battery_low_v": 3.3})
    assert (answer.status_code, answer.json()["hook"]) == (200, "A1")
    again = web.ask("PUT", f"/api/nodes/{PLACE}/cell", json={"rh_error_pct": 3.0}).json()
    assert (again["hook"], again["battery_low_v"], again["rh_error_pct"]) == ("A1", 3.3, 3.0)
    assert 'value="A1"' in web.get("/air").text
    assert (
        "hook A1 has the load cell of node cell already"
        in problem(web.ask("PUT", f"/api/nodes/{PLACE}/other", json={"hook": "A1"}), 409)["detail"]
    )
    problem(web.ask("PUT", f"/api/nodes/{PLACE}/nobody", json={"hook": "A1"}), 404)
    problem(web.ask("PUT", f"/api/nodes/{PLACE}/cell", json={"rh_error_pct": -1.0}), 422)
    web.post(f"/air/nodes/{PLACE}/cell/hook", data={"hook": ""})
    assert nodes.node_settings(shop.engine)[PLACE, "cell"].hook == ""


@pytest.mark.parametrize("hook", ["A1", "B7"])
def test_the_next_dip_has_the_place_learn_once_where_a_cell_weighed_the_coat(
    shop: FakeShop, hook: str
) -> None:
    now = shop.clock.now()
    tree = shop.hang("Heron", "A1", coats=2, state="fit", dipped=now - 3 * HOUR_MS)
    nodes.set_node(shop.engine, NodeSettings(PLACE, "cell", hook=hook))
    said = [
        Reading(PLACE, "cell", "mass", "kg", 3.0 - 1e-4 * n, now - 3 * HOUR_MS + n * MINUTE_MS)
        for n in range(180)
    ]
    readings.keep(shop.engine, said, [], [], now)
    kept = take_dip(shop.parts, tree.id, Saying(confirm=True, key="one"))
    assert isinstance(kept, Kept)
    take_dip(shop.parts, tree.id, Saying(confirm=True, key="one"))
    assert shop.rack.learned == ([(PLACE, "load cell")] if hook == "A1" else [])
