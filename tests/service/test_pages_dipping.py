"""The rules of a dip: what is refused, what is asked, what is taken. Source of the rules: our own
contract."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.forecast import NEVER, Outlook, Quantiles, State
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from server.dipping import FUTURE_MS, OLDEST_MS, Allowed, Question, Refusal, decide
from server.store.values import Dip, Recipe, RecipeCoat, Tree, TreeSpot

NOW = 1_772_452_800_000
KINDS = ("prime", "backup", "seal")
RECIPE = Recipe(1, "Three coats", tuple(RecipeCoat(n, kind, 1.0, 0.3) for n, kind in enumerate(KINDS, 1)))


def tree(left: str = "") -> Tree:
    spots = (TreeSpot("joint:30", "vent joint"),)
    return Tree(1, "Heron", "A1", "room", RECIPE, 25.0, None, None, spots, NOW - DAY_MS, left)


def dips(*ago: Millis) -> list[Dip]:
    return [Dip(number, 1, number, NOW - back, NOW - back) for number, back in enumerate(ago, start=1)]


def outlook(state: State, coat: int, fit: Quantiles = NEVER, remaining: float | None = 0.34) -> Outlook:
    return Outlook(
        1, "Heron", "A1", "room", coat, 3, "backup", state, "joint:30", "vent joint", remaining, fit,
        "The air has not been known since noon.", NOW,
    )  # fmt: skip


def test_a_first_dip_asks_nothing() -> None:
    assert decide(tree(), [], outlook("new", 0), NOW, NOW) == Allowed(RECIPE.coats[0])
    assert decide(tree(), [], None, NOW, NOW) == Allowed(RECIPE.coats[0])


def test_a_fit_tree_asks_nothing() -> None:
    fit = Quantiles(NOW - HOUR_MS, NOW - HOUR_MS, NOW - HOUR_MS)
    answer = decide(tree(), dips(5 * HOUR_MS), outlook("fit", 1, fit), NOW, NOW)
    assert answer == Allowed(RECIPE.coats[1])


@pytest.mark.parametrize("how", ["cleared", "scrapped"])
@pytest.mark.parametrize("confirm", [False, True])
def test_a_tree_off_the_rack_takes_no_dip(how: str, confirm: bool) -> None:
    answer = decide(tree(how), dips(5 * HOUR_MS), None, NOW, NOW, confirm)
    assert answer == Refusal("left-the-rack", f"Heron is {how} and takes no more dips", True)


def test_after_the_last_coat_there_is_none_to_dip() -> None:
    answer = decide(tree(), dips(15 * HOUR_MS, 10 * HOUR_MS, 5 * HOUR_MS), None, NOW, NOW, True)
    assert isinstance(answer, Refusal)
    assert (answer.rule, answer.conflict) == ("no-coat-left", True)
    assert "all 3 coats" in answer.reason


def test_the_future_begins_a_minute_ahead() -> None:
    assert isinstance(decide(tree(), [], None, NOW + FUTURE_MS, NOW), Allowed)
    answer = decide(tree(), [], None, NOW + FUTURE_MS + 1, NOW, confirm=True)
    assert isinstance(answer, Refusal)
    assert (answer.rule, answer.conflict) == ("in-the-future", False)
    assert "2026-03-02T12:00:00Z" in answer.reason  # the value and the limit are named


def test_a_dip_of_a_season_ago_is_refused() -> None:
    assert isinstance(decide(tree(), [], None, NOW - OLDEST_MS, NOW), Allowed)
    answer = decide(tree(), [], None, NOW - OLDEST_MS - 1, NOW, confirm=True)
    assert isinstance(answer, Refusal)
    assert answer.rule == "too-long-ago"


def test_a_dip_before_the_last_one_is_refused_whatever_is_confirmed() -> None:
    said = dips(9 * HOUR_MS, 5 * HOUR_MS)
    for confirm in (False, True):
        answer = decide(tree(), said, outlook("fit", 2), said[-1].at - 1, NOW, confirm)
        assert isinstance(answer, Refusal)
        assert answer.rule == "before-the-last-dip"
        assert "coat 2 of Heron" in answer.reason


def test_twice_within_a_minute_is_a_question() -> None:
    said = dips(MINUTE_MS - 1)
    answer = decide(tree(), said, outlook("drying", 1), NOW, NOW)
    assert isinstance(answer, Question)
    assert "the same dip twice" in answer.question
    assert isinstance(decide(tree(), said, outlook("drying", 1), NOW, NOW, confirm=True), Allowed)


def test_the_very_same_moment_is_a_question_and_then_impossible() -> None:
    said = dips(0)
    assert isinstance(decide(tree(), said, outlook("drying", 1), NOW, NOW), Question)
    answer = decide(tree(), said, outlook("drying", 1), NOW, NOW, confirm=True)
    assert isinstance(answer, Refusal)


def test_a_tree_that_dries_is_asked_about_at_its_slowest_spot() -> None:
    answer = decide(tree(), dips(5 * HOUR_MS), outlook("drying", 1), NOW, NOW)
    assert answer == Question("About a third is left at the vent joint: dip anyway?")


def test_an_unsure_tree_is_asked_about_with_the_reason() -> None:
    answer = decide(tree(), dips(5 * HOUR_MS), outlook("unsure", 1), NOW, NOW)
    assert isinstance(answer, Question)
    assert "not been known since noon" in answer.question


@pytest.mark.parametrize("verdict", [None, outlook("fit", 2)])
def test_a_tree_not_judged_since_its_last_coat_is_asked_about(verdict: Outlook | None) -> None:
    answer = decide(tree(), dips(5 * HOUR_MS), verdict, NOW, NOW)
    assert isinstance(answer, Question)
    assert "not been judged since coat 1" in answer.question


def test_a_dip_said_late_is_held_against_when_the_tree_came_fit() -> None:
    fit = Quantiles(NOW - HOUR_MS, NOW - HOUR_MS, NOW - HOUR_MS)
    answer = decide(tree(), dips(5 * HOUR_MS), outlook("fit", 1, fit), NOW - 2 * HOUR_MS, NOW)
    assert isinstance(answer, Question)
    assert "came fit about 1 h after that" in answer.question


STATES: tuple[State, ...] = ("new", "drying", "fit", "resting", "through", "unsure")


@given(
    at=st.integers(NOW - 100 * DAY_MS, NOW + DAY_MS),
    ago=st.lists(st.integers(0, 80 * DAY_MS), max_size=3, unique=True),
    state=st.sampled_from(STATES),
    confirm=st.booleans(),
)
def test_what_is_allowed_keeps_the_coats_in_order(
    at: Millis, ago: list[Millis], state: State, confirm: bool
) -> None:
    said = dips(*sorted(ago, reverse=True))
    answer = decide(tree(), said, outlook(state, len(said)), at, NOW, confirm)
    if isinstance(answer, Allowed):
        assert answer.coat.number == len(said) + 1
        assert NOW - OLDEST_MS <= at <= NOW + FUTURE_MS
        assert not said or at > said[-1].at
    if confirm:
        assert not isinstance(answer, Question)


@given(st.sampled_from(STATES), st.integers(2 * MINUTE_MS, 80 * DAY_MS))
def test_every_question_can_be_answered_with_yes(state: State, ago: Millis) -> None:
    answer = decide(tree(), dips(ago), outlook(state, 1), NOW, NOW)
    if isinstance(answer, Question):
        assert isinstance(decide(tree(), dips(ago), outlook(state, 1), NOW, NOW, confirm=True), Allowed)
