"""Who is next. The order of states is this project's own rule; the laws hold for any order."""

from dataclasses import replace
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from scheduler.forecast import Outlook
from scheduler.plan import next_first
from sensors.clock import HOUR_MS, MINUTE_MS
from tests.planning.outlooks import HERON, NOW, outlook, racks


def test_order_of_states() -> None:
    """Fit by waiting, drying by forecast, then no coat, unsure, resting, through: the project's own rule."""
    rack = [
        outlook(1, "through", "through", NOW),
        outlook(2, "resting", "resting", NOW + HOUR_MS),
        outlook(3, "unsure", "unsure", NOW - HOUR_MS),
        outlook(4, "new", "new"),
        outlook(5, "never", "drying", None),
        outlook(6, "later", "drying", NOW + 2 * HOUR_MS),
        outlook(7, "sooner", "drying", NOW + HOUR_MS),
        outlook(8, "waits short", "fit", NOW - HOUR_MS),
        outlook(9, "waits long", "fit", NOW - 5 * HOUR_MS),
    ]
    assert [tree.label for tree in next_first(rack, NOW)] == [
        "waits long",
        "waits short",
        "sooner",
        "later",
        "never",
        "new",
        "unsure",
        "resting",
        "through",
    ]


def test_overdue_forecasts_go_by_what_remains() -> None:
    """Two forecasts that have both passed say the same: any moment now."""
    wetter = replace(outlook(1, "Avocet", "drying", NOW - 30 * MINUTE_MS), remaining=0.2)
    drier = replace(outlook(2, "Teal", "drying", NOW - 5 * MINUTE_MS), remaining=0.06)
    assert next_first([wetter, drier], NOW) == [drier, wetter]
    before = NOW - HOUR_MS
    assert next_first([wetter, drier], before) == [wetter, drier]


def test_equal_trees_go_by_label_then_id() -> None:
    teal, heron, other_heron = (
        outlook(1, "Teal", "new"),
        outlook(3, "Heron", "new"),
        outlook(2, "Heron", "new"),
    )
    assert next_first([teal, heron, other_heron], NOW) == [other_heron, heron, teal]


@given(racks())
def test_every_tree_stays_exactly_once(rack: list[Outlook]) -> None:
    ordered = next_first(rack, NOW)
    assert sorted(tree.tree_id for tree in ordered) == sorted(tree.tree_id for tree in rack)
    assert set(map(id, ordered)) == set(map(id, rack))


@given(racks(), st.randoms(use_true_random=False))
def test_the_order_does_not_depend_on_the_order_given(rack: list[Outlook], random: Random) -> None:
    shuffled = list(rack)
    random.shuffle(shuffled)
    assert next_first(shuffled, NOW) == next_first(rack, NOW)


@given(racks())
def test_any_two_trees_keep_their_order_in_any_rack(rack: list[Outlook]) -> None:
    """A total order: dropping trees never swaps the others."""
    ordered = next_first(rack, NOW)
    for dropped in rack:
        rest = [tree for tree in rack if tree is not dropped]
        assert next_first(rest, NOW) == [tree for tree in ordered if tree is not dropped]


@given(racks())
def test_no_tree_that_needs_time_comes_before_one_that_is_fit(rack: list[Outlook]) -> None:
    states = [tree.state for tree in next_first(rack, NOW)]
    assert "fit" not in states[states.count("fit") :]


def test_nothing_is_said_of_an_empty_rack() -> None:
    assert next_first([], NOW) == []
    assert next_first([HERON], NOW) == [HERON]
