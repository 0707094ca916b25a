"""Which notices are due, under which key, in which words."""

import re
from dataclasses import replace

import pytest
from hypothesis import given

from scheduler.forecast import NEVER, Outlook, Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS
from tests.planning.outlooks import HERON, NOW, due, racks, sure

FIT = replace(HERON, state="fit", fit_at=sure(NOW - MINUTE_MS))
FORBIDDEN = re.compile(r"\bsafe|strong enough|ready to pour|ready for|!", re.IGNORECASE)
"""What the tool never says: it advises on dryness only."""


def test_a_fit_tree_is_told_with_its_next_coat_and_slowest_spot() -> None:
    (notice,) = due([FIT], NOW)
    assert notice.title == "Heron: fit to dip"
    assert notice.body == "Coat 5 of 10 (backup) may go on. Slowest was the vent joint, 30°."
    assert notice.key == f"fit:1:4:{HERON.dipped_at}"
    assert (notice.cause, notice.tree_id, notice.at) == ("fit", 1, NOW - MINUTE_MS)


def test_the_kind_named_is_that_of_the_coat_to_come() -> None:
    (notice,) = due([replace(FIT, coat=2, kind="prime", next_kind="backup")], NOW)
    assert notice.body.startswith("Coat 3 of 10 (backup)")
    (notice,) = due([replace(FIT, next_kind=None, slowest_name=None)], NOW)
    assert notice.body == "Coat 5 of 10 may go on."


@pytest.mark.parametrize("state", ["new", "drying", "resting", "cleared", "scrapped"])
def test_nothing_is_told_of_a_tree_that_needs_nothing(state: str) -> None:
    assert due([replace(HERON, state=state)], NOW) == []  # type: ignore[arg-type]


def test_no_further_coat_is_announced_after_the_last() -> None:
    assert due([replace(FIT, coat=10)], NOW) == []


def test_a_tree_that_was_never_dipped_is_not_told_of() -> None:
    assert due([replace(FIT, coat=0, dipped_at=None)], NOW) == []
    assert due([replace(HERON, state="unsure", coat=0, dipped_at=None)], NOW) == []


def test_dry_through_asks_for_a_check_before_burnout() -> None:
    tree = replace(FIT, state="through", coat=10, kind="seal", next_kind=None)
    (notice,) = due([tree], NOW)
    assert notice.title == "Heron: dry through"
    assert notice.body == "By its air record, after coat 10 of 10. To be checked before burnout."
    assert notice.key == f"through:1:10:{HERON.dipped_at}"


def test_a_gap_is_told_once_for_each_start() -> None:
    since = NOW - 2 * HOUR_MS
    gap = replace(HERON, state="unsure", fit_at=NEVER, reason="No air known since 04:00", unsure_since=since)
    (notice,) = due([gap], NOW)
    assert notice.key == f"unsure:1:4:{since}"
    assert notice.body == "No air known since 04:00. Coat 4 of 10 is not judged until this is settled."
    (later,) = due([replace(gap, as_of=NOW + HOUR_MS)], NOW + HOUR_MS)
    assert later.key == notice.key
    (another,) = due([replace(gap, unsure_since=since + HOUR_MS)], NOW)
    assert another.key != notice.key


def test_a_gap_with_no_known_start_is_told_once_a_coat() -> None:
    gap = replace(HERON, state="unsure", fit_at=NEVER, reason="")
    (notice,) = due([gap], NOW)
    assert notice.key == f"unsure:1:4:{HERON.dipped_at}"
    assert notice.body.startswith("The air record allows no verdict.")


def test_a_dip_undone_and_said_anew_gives_a_new_key() -> None:
    (first,) = due([FIT], NOW)
    (again,) = due([replace(FIT, dipped_at=NOW - HOUR_MS)], NOW)
    assert first.key != again.key


def test_a_forecast_that_moves_keeps_the_key() -> None:
    (first,) = due([FIT], NOW)
    (moved,) = due([replace(FIT, fit_at=sure(NOW - HOUR_MS), reason="late readings", as_of=NOW + 1)], NOW)
    assert moved.key == first.key


def test_the_time_told_is_the_ninetieth_percentile_and_never_ahead_of_now() -> None:
    """A verdict is the 0.9 quantile of the worst spot: the project's own contract."""
    (notice,) = due([replace(FIT, fit_at=Quantiles(NOW - 9, NOW - 6, NOW - 3))], NOW)
    assert notice.at == NOW - 3
    (notice,) = due([replace(FIT, fit_at=sure(NOW + HOUR_MS))], NOW)
    assert notice.at == NOW
    (notice,) = due([replace(FIT, fit_at=NEVER)], NOW)
    assert notice.at == NOW


@given(racks())
def test_what_is_due_is_the_same_whenever_asked_and_in_whatever_order(rack: list[Outlook]) -> None:
    assert due(rack, NOW) == due(rack, NOW) == due(list(reversed(rack)), NOW)


@given(racks())
def test_one_notice_a_tree_at_most_and_one_key_each(rack: list[Outlook]) -> None:
    notices = due(rack, NOW)
    assert len({notice.key for notice in notices}) == len(notices)
    assert len({notice.tree_id for notice in notices}) == len(notices)
    assert all(notice.at <= NOW for notice in notices)


@given(racks())
def test_words_never_promise_more_than_dryness(rack: list[Outlook]) -> None:
    for notice in due(rack, NOW):
        assert notice.title
        assert notice.body
        assert not FORBIDDEN.search(notice.title + notice.body)


@given(racks())
def test_the_keys_of_a_later_time_are_the_same(rack: list[Outlook]) -> None:
    """A restart an hour later finds the same causes."""
    assert [n.key for n in due(rack, NOW)] == [n.key for n in due(rack, NOW + HOUR_MS)]
