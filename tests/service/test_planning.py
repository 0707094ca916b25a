"""The plan of a shop: what is next, when each tree can be burnt out, and what cannot be."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from scheduler.forecast import Quantiles
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS
from server.planning import PlanDesk, PourDayError, ShopPlan, dip_length, pour_day_said
from server.store import dips as dip_store
from server.store import plans as plan_store
from server.store import recipes as recipe_store
from server.store import trees as tree_store
from server.store.engine import RefusedError
from server.store.values import Dip, NewDip
from server.work_hours import WorkHoursError, set_work_hours, work_hours
from tests.service.fake_shop import NOON, FakeShop


@pytest.fixture(scope="module")
def desk() -> PlanDesk:
    return PlanDesk()


def planned(shop: FakeShop, desk: PlanDesk) -> ShopPlan:
    desk.plan(shop.engine, shop.rack, shop.clock)
    desk.times.wait(30.0)
    return desk.plan(shop.engine, shop.rack, shop.clock)


def soon(hours: float) -> Quantiles:
    return Quantiles(*(NOON + round((hours + more) * HOUR_MS) for more in (-0.3, 0.0, 0.5)))


def test_the_trees_that_are_fit_come_first_and_what_is_due_later_waits(
    shop: FakeShop, desk: PlanDesk
) -> None:
    heron = shop.hang("Heron", "A1", 3, "fit", fit=soon(-1))
    bittern = shop.hang("Bittern", "A2", 4, "drying", fit=soon(1.5), remaining=0.2)
    snipe = shop.hang("Snipe", "A3", 0, "new")
    shop.hang("Teal", "A4", 10, "resting", fit=soon(20))
    shop.hang("Unsure", "A5", 2, "unsure")
    plan = planned(shop, desk)
    assert [dip.tree_id for dip in plan.day.dips][:1] in ([heron.id], [snipe.id])
    starts = {dip.tree_id: dip.start for dip in plan.day.dips if dip.nth == 0}
    assert starts[bittern.id] >= NOON + 90 * MINUTE_MS
    assert plan.blocked == ("Unsure",)
    assert all(one.sure for one in plan.trees)
    assert all(dip.end <= plan.hours.windows(NOON, 1)[0][1] for dip in plan.day.dips)


def test_a_tree_can_be_burnt_out_after_its_coats_and_its_rest(shop: FakeShop, desk: PlanDesk) -> None:
    teal = shop.hang("Teal", "A4", 10, "resting", fit=soon(20))
    heron = shop.hang("Heron", "A1", 8, "fit", fit=soon(-1))
    ahead = {one.tree.id: one for one in planned(shop, desk).trees}
    assert ahead[teal.id].burnout[1] == NOON + 20 * HOUR_MS
    assert len(ahead[heron.id].coats) == 2
    assert ahead[heron.id].burnout[1] > NOON + 24 * HOUR_MS


def test_the_latest_dips_meet_the_pour_day_and_a_day_too_near_has_none(
    shop: FakeShop, desk: PlanDesk
) -> None:
    shop.hang("Heron", "A1", 8, "fit", fit=soon(-1))
    shop.hang("Dunlin", "A2", 0, "new")
    pour_day_said(shop.engine, shop.clock, NOON + 5 * DAY_MS)
    plan = planned(shop, desk)
    heron = next(one for one in plan.trees if one.tree.label == "Heron")
    nines = [late.nine_in_ten for late in heron.latest]
    assert None not in nines
    assert nines == sorted(nines, key=lambda at: at or 0)
    assert heron.latest[-1].nine_in_ten is not None
    assert heron.latest[-1].nine_in_ten < NOON + 4 * DAY_MS
    pour_day_said(shop.engine, shop.clock, NOON + 6 * HOUR_MS)
    heron = next(one for one in planned(shop, desk).trees if one.tree.label == "Heron")
    assert [late.nine_in_ten for late in heron.latest] == [None, None]


def test_a_pour_day_in_the_past_or_too_far_is_refused_and_the_old_one_stays(shop: FakeShop) -> None:
    pour_day_said(shop.engine, shop.clock, NOON + DAY_MS)
    with pytest.raises(PourDayError, match="past"):
        pour_day_said(shop.engine, shop.clock, NOON - 1)
    with pytest.raises(PourDayError, match="60 days"):
        pour_day_said(shop.engine, shop.clock, NOON + 90 * DAY_MS)
    assert plan_store.pour_day(shop.engine) == NOON + DAY_MS


def test_without_hours_of_work_nothing_is_planned_and_the_plan_says_so(
    shop: FakeShop, desk: PlanDesk
) -> None:
    shop.hang("Heron", "A1", 3, "fit", fit=soon(-1))
    set_work_hours(shop.engine, "08:00", [])
    plan = planned(shop, desk)
    assert plan.day.dips == ()
    assert plan.day.left_out == ("Heron",)
    assert plan.trouble.startswith("No hours of work are set")


def test_hours_that_cannot_be_are_refused(shop: FakeShop) -> None:
    for opens, days, words in (("18:30", [0], "18:30"), ("8 am", [0], "8 am"), ("08:00", [7], "day 7")):
        with pytest.raises(WorkHoursError, match=words):
            set_work_hours(shop.engine, opens, days)
    assert work_hours(shop.engine).days == tuple(range(7))


def test_hours_of_work_follow_the_clocks_as_they_change(shop: FakeShop) -> None:
    # Helsinki goes over to summer time on 29 March 2026, 03:00.
    windows = work_hours(shop.engine).windows(NOON + 25 * DAY_MS, 3)
    assert [(end - start) / HOUR_MS for start, end in windows[1:]] == [10.0, 10.0]
    assert windows[2][0] - windows[1][0] == 23 * HOUR_MS


def test_more_work_than_the_day_holds_names_what_falls_out(shop: FakeShop, desk: PlanDesk) -> None:
    shop.clock.advance(3 * HOUR_MS + 30 * MINUTE_MS)  # half an hour before Helsinki's six in the evening
    for number in range(6):
        shop.hang(f"Tree {number}", f"C{number}", 0, "new")
    plan = planned(shop, desk)
    assert len(plan.day.dips) == 3
    assert len(plan.day.left_out) == 3
    assert set(plan.day.left_out) | {dip.label for dip in plan.day.dips} == {f"Tree {n}" for n in range(6)}
    assert {dip.label for dip in plan.before_leaving} == {dip.label for dip in plan.day.dips}


def test_the_tree_that_is_said_to_be_next_stays_first(shop: FakeShop, desk: PlanDesk) -> None:
    for number in range(5):
        shop.hang(f"Tree {number}", f"C{number}", 2, "fit", fit=soon(-1))
    last = planned(shop, desk).day.dips[-1]
    desk.say_next(shop.engine, last.tree_id)
    plan = planned(shop, desk)
    assert plan.day.dips[0].tree_id == last.tree_id
    assert plan.next_tree == last.tree_id
    # Until it is dipped: then the plan is free again.
    dip_store.add_dip(shop.engine, NewDip(last.tree_id, NOON + MINUTE_MS, NOON + MINUTE_MS))
    tree = next(one.tree for one in plan.trees if one.tree.id == last.tree_id)
    shop.judge(tree, "drying", soon(5), remaining=0.9)
    after = planned(shop, desk)
    assert after.next_tree is None
    assert after.day.dips[0].tree_id != last.tree_id


def test_two_plans_at_once_say_the_same(shop: FakeShop, desk: PlanDesk) -> None:
    for number in range(5):
        shop.hang(f"Tree {number}", f"C{number}", 2, "fit", fit=soon(-1))
    planned(shop, desk)
    with ThreadPoolExecutor(4) as many:
        plans = list(many.map(lambda _: desk.plan(shop.engine, shop.rack, shop.clock), range(4)))
    assert len({plan.day for plan in plans}) == 1


def test_what_a_dip_takes_is_learned_from_dips_close_together() -> None:
    minutes = [0, 11, 22, 40, 52, 63, 300, 312]
    log = [Dip(number, 1, 1, minute * MINUTE_MS, 0) for number, minute in enumerate(minutes)]
    assert dip_length([log]) == (round(11.5 * MINUTE_MS), 6)
    assert dip_length([log[:3]]) == (8 * MINUTE_MS, 0)


def test_a_dip_that_is_made_leaves_the_order_of_the_others(shop: FakeShop, desk: PlanDesk) -> None:
    for number in range(6):
        shop.hang(f"Tree {number}", f"C{number}", 2, "fit", fit=soon(-1))
    before = planned(shop, desk).day.dips
    first = before[0]
    dip_store.add_dip(shop.engine, NewDip(first.tree_id, NOON + 8 * MINUTE_MS, NOON + 8 * MINUTE_MS))
    shop.clock.advance(8 * MINUTE_MS)
    tree = next(one.tree for one in planned(shop, desk).trees if one.tree.id == first.tree_id)
    shop.judge(tree, "drying", soon(5), remaining=0.9)
    after = planned(shop, desk).day.dips
    assert [dip.tree_id for dip in after if dip.nth == 0][:5] == [
        dip.tree_id for dip in before if dip.nth == 0 and dip.tree_id != first.tree_id
    ]


def test_a_tree_under_way_keeps_its_recipe_whatever_is_written_since(shop: FakeShop, desk: PlanDesk) -> None:
    old = shop.hang("Heron", "A1", 3, "fit", fit=soon(-1))
    before = planned(shop, desk).trees[0]
    prime, _, backup, *_ = coats = old.recipe.coats
    three = [prime, replace(backup, number=2), replace(coats[-1], number=3)]
    # Recipes are only ever added: none takes the place of one that is there.
    with pytest.raises(RefusedError, match="is there already"):
        recipe_store.add_recipe(shop.engine, old.recipe.name, three)
    written = recipe_store.add_recipe(shop.engine, "Three coats", three)
    kept = tree_store.tree(shop.engine, old.id)
    assert kept is not None
    assert kept.recipe == old.recipe
    after = planned(shop, desk).trees[0]
    assert (after.tree.recipe, len(after.coats), after.burnout) == (old.recipe, 7, before.burnout)
    # A tree that is hung from now on may take the new one, and is planned by it.
    shop.recipe = written
    shop.hang("Snipe", "A2", 0, "new")
    assert {one.tree.label: len(one.coats) for one in planned(shop, desk).trees} == {"Heron": 7, "Snipe": 3}
