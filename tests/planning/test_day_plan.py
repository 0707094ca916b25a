"""The plain rule, the search for a better order, and that a plan which is shown stays."""

from itertools import permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.day_plan import POT_CHANGE_MS, Candidate, Day, lay_out, plain_order, tasks_of
from scheduler.decoder import STEADY, planned, worth
from sensors.clock import HOUR_MS, MINUTE_MS
from tests.benchmarks.bench_plan import gain, made_up_day

OPENS, CLOSES, REOPENS = 8 * HOUR_MS, 18 * HOUR_MS, 32 * HOUR_MS
DAY = Day(OPENS, CLOSES, REOPENS)


def tree(
    number: int, fit_h: float = 8.0, dry_h: tuple[float, ...] = (4.0,), pots: tuple[str, ...] = ("backup",)
) -> Candidate:
    fit = round(fit_h * HOUR_MS)
    dry = tuple(round(hours * HOUR_MS) for hours in dry_h)
    return Candidate(number, f"Tree {number}", fit, fit, pots, dry)


def labels(candidates: list[Candidate], day: Day = DAY) -> list[str]:
    return [dip.label for dip in lay_out(candidates, plain_order(candidates, day), day).dips]


def test_the_plain_rule_dips_what_dries_soonest_first_and_the_slow_one_last() -> None:
    trees = [tree(1, dry_h=(14.0,)), tree(2, dry_h=(3.0,)), tree(3, dry_h=(6.0,))]
    assert labels(trees) == ["Tree 2", "Tree 3", "Tree 1"]


def test_the_plain_rule_keeps_to_the_pot_that_is_open() -> None:
    trees = [tree(1, dry_h=(2.0,)), tree(2, dry_h=(6.0,), pots=("prime",)), tree(3, dry_h=(5.0,))]
    assert labels(trees, Day(OPENS, CLOSES, REOPENS, pot="prime")) == ["Tree 2", "Tree 1", "Tree 3"]


def test_another_pot_costs_its_minutes_and_the_same_one_none() -> None:
    trees = [tree(1), tree(2), tree(3, pots=("prime",))]
    first, second, third = lay_out(trees, [(0, 0), (1, 0), (2, 0)], DAY).dips
    assert second.start == first.end
    assert third.start == second.end + POT_CHANGE_MS


def test_a_tree_that_dries_soon_comes_again_on_the_same_day() -> None:
    found = planned([tree(1, dry_h=(4.0, 4.0, 4.0), pots=("backup",) * 3)], DAY)
    assert [dip.nth for dip in found.dips] == [0, 1, 2]
    assert [dip.overnight for dip in found.dips] == [False, False, True]


def test_what_does_not_fit_falls_out_and_is_named() -> None:
    day = Day(CLOSES - 20 * MINUTE_MS, CLOSES, REOPENS)
    found = planned([tree(number) for number in range(4)], day)
    assert len(found.dips) == 2
    assert len(found.left_out) == 2


def test_a_tree_of_which_nothing_is_known_is_not_planned() -> None:
    assert tasks_of([Candidate(1, "Heron", None, None, ("prime",), (HOUR_MS,))], DAY) == []


def test_the_one_in_hand_stays_first() -> None:
    trees = [tree(1, dry_h=(2.0,)), tree(2, dry_h=(9.0,))]
    found = planned(trees, Day(OPENS, CLOSES, REOPENS, begun=2))
    assert [dip.label for dip in found.dips] == ["Tree 2", "Tree 1"]


def test_the_search_finds_the_best_order_of_a_small_day() -> None:
    # Against every order there is: six dips, 720 orders.
    kinds = ("prime", "backup")
    trees = [
        tree(number, 8.0 + (number * 1.7) % 6.0, (2.0 + 3.0 * (number % 3),), (kinds[number % 2],))
        for number in range(6)
    ]
    day = Day(OPENS, OPENS + 7 * HOUR_MS, REOPENS, dip_ms=50 * MINUTE_MS)
    best = max(worth(trees, list(order), day) for order in permutations((index, 0) for index in range(6)))
    found = planned(trees, day)
    place = {one.tree_id: index for index, one in enumerate(trees)}
    assert worth(trees, [(place[dip.tree_id], dip.nth) for dip in found.dips], day) >= best - 1e-9


def test_a_plan_that_is_shown_stays_when_times_shift_a_little() -> None:
    trees, day = made_up_day(5, 20)
    shown = [(dip.tree_id, dip.nth) for dip in planned(trees, day).dips]
    shifted = [
        Candidate(
            one.tree_id,
            one.label,
            (one.fit_p50 or 0) + one.tree_id % 3 * MINUTE_MS,
            one.fit_p90,
            one.pots,
            one.dry_ms,
        )
        for one in trees
    ]
    after = [(dip.tree_id, dip.nth) for dip in planned(shifted, day, shown).dips]
    both = [dip for dip in shown if dip in after]
    assert [dip for dip in after if dip in both] == both
    assert len(both) >= len(shown) - 1


def test_a_plan_that_is_worth_more_takes_the_place_of_the_one_that_is_shown() -> None:
    trees = [
        tree(1, dry_h=(2.0, 2.0, 2.0), pots=("backup",) * 3),
        *(tree(n, dry_h=(3.0,)) for n in range(2, 6)),
    ]
    day = Day(CLOSES - 4 * HOUR_MS, CLOSES, REOPENS, dip_ms=30 * MINUTE_MS)
    bad = [(5, 0), (4, 0), (3, 0), (2, 0), (1, 0), (1, 1)]
    place = {one.tree_id: index for index, one in enumerate(trees)}
    before = worth(trees, [(place[one], nth) for one, nth in bad], day)
    found = planned(trees, day, bad)
    now = worth(trees, [(place[dip.tree_id], dip.nth) for dip in found.dips], day)
    assert now >= before + STEADY


@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000), trees=st.integers(1, 18))
def test_no_plan_is_worth_less_than_the_plain_rule_s_and_the_same_day_gives_the_same(
    seed: int, trees: int
) -> None:
    row = gain(seed, trees)
    assert row.found >= row.plain - 1e-9
    again = gain(seed, trees)
    assert (again.found, again.dips) == (row.found, row.dips)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), trees=st.integers(1, 15))
def test_dips_never_overlap_nor_come_before_the_tree_is_fit(seed: int, trees: int) -> None:
    candidates, day = made_up_day(seed, trees)
    found = planned(candidates, day, tries=60)
    by_id = {one.tree_id: one for one in candidates}
    at, dry = day.start, dict.fromkeys(by_id, 0)
    for dip in found.dips:
        assert dip.start >= max(at, dry[dip.tree_id], by_id[dip.tree_id].fit_p50 or 0)
        assert dip.end <= day.closes
        at, dry[dip.tree_id] = dip.end, dip.end + by_id[dip.tree_id].dry_ms[dip.nth]
