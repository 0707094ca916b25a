"""Which trees come fit together. Source of the rule: our own, as the module says."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from scheduler.forecast import Outlook, Quantiles, State
from scheduler.together import CLOSE_MS, FAR_SHARE, Together, fit_together
from sensors.clock import MINUTE_MS, Millis

NOW = 1_772_452_800_000


def outlook(tree_id: int, minutes: float | None, state: State = "drying") -> Outlook:
    middle: Millis | None = None if minutes is None else NOW + round(minutes * MINUTE_MS)
    fit = Quantiles(middle, middle, middle)
    return Outlook(
        tree_id, f"Tree {tree_id:02}", f"A{tree_id}", "room", 3, 10, "backup", state,
        "face", "face", 0.3, fit, "", NOW,
    )  # fmt: skip


def ids(*outlooks: Outlook) -> list[tuple[int, ...]]:
    return [group.tree_ids for group in fit_together(outlooks, NOW)]


def test_trees_close_to_one_another_come_together() -> None:
    found = fit_together([outlook(1, 65), outlook(2, 50), outlook(3, 60), outlook(4, 200)], NOW)
    assert found == [Together(NOW + 65 * MINUTE_MS, (2, 3, 1))]


def test_a_group_reaches_no_further_than_from_its_first_tree() -> None:
    """A chain of trees a quarter of an hour apart is not one group that lasts all day."""
    assert ids(*(outlook(n, 30 + 15 * n) for n in range(6))) == [(0, 1), (2, 3), (4, 5)]


def test_far_off_the_forecast_is_blunt_and_so_is_together() -> None:
    assert ids(outlook(1, 60), outlook(2, 90)) == []
    assert ids(outlook(1, 600), outlook(2, 650)) == [(1, 2)]


def test_who_does_not_dry_for_another_coat_comes_with_nobody() -> None:
    assert ids(outlook(1, 60), outlook(2, 60, "resting"), outlook(3, 60, "unsure"), outlook(4, None)) == []
    assert ids(outlook(1, -60), outlook(2, -50)) == []


@given(st.lists(st.one_of(st.none(), st.floats(-300, 3000)), max_size=12))
def test_groups_are_apart_and_within_reach(minutes: list[float | None]) -> None:
    outlooks = [outlook(number, one) for number, one in enumerate(minutes)]
    moments = {one.tree_id: one.fit_at.p50 or 0 for one in outlooks}
    groups = fit_together(outlooks, NOW)
    named = [tree_id for group in groups for tree_id in group.tree_ids]
    assert len(named) == len(set(named))
    for group in groups:
        first, last = moments[group.tree_ids[0]], moments[group.tree_ids[-1]]
        assert len(group.tree_ids) > 1
        assert NOW < first <= last == group.at
        assert last - first <= max(CLOSE_MS, FAR_SHARE * (first - NOW) + 1)
    assert [group.at for group in groups] == sorted(group.at for group in groups)
    alone = sorted(moments[one.tree_id] for one in outlooks if one.tree_id not in named)
    coming = [moment for moment in alone if moment > NOW]
    assert all(later - sooner > CLOSE_MS for sooner, later in pairwise(coming)), (
        "they could have gone together"
    )
