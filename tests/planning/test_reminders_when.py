"""When a person is told: gathered, after quiet hours, once each; over restarts, sleep and changed clocks."""

from collections.abc import Sequence
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.forecast import NEVER
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis, parse_time
from tests.planning.outlooks import sure
from tests.planning.told_shop import EVENING, MORNING, NOON, RULES, Shop, silent, tree

# -- gathering


def test_trees_that_come_fit_in_one_look_are_told_of_in_one_message() -> None:
    shop = Shop()
    shop.look(NOON, tree(1), tree(2), tree(3))
    ((_, title, body, keys),) = shop.ledger.messages
    assert title == "3 trees fit to dip: Heron, Teal, Snipe"
    assert body.startswith("Heron (coat 5 of 10, backup). Teal (coat 5 of 10, backup).")
    assert len(keys) == 3


def test_one_tree_alone_keeps_its_own_words() -> None:
    shop = Shop()
    shop.look(NOON, tree(1))
    assert shop.ledger.titles == ["Heron: fit to dip"]


def test_the_first_goes_at_once_and_the_next_few_minutes_are_gathered() -> None:
    shop = Shop()
    shop.look(NOON, tree(1))
    shop.look(NOON + 2 * MINUTE_MS, tree(2, at=NOON + 2 * MINUTE_MS))
    shop.look(NOON + 5 * MINUTE_MS, tree(3, at=NOON + 5 * MINUTE_MS))
    shop.restart()  # what is gathered is in the ledger
    shop.look(NOON + 9 * MINUTE_MS)
    assert shop.ledger.titles == ["Heron: fit to dip"]
    shop.look(NOON + 10 * MINUTE_MS)
    shop.look_often(NOON + 11 * MINUTE_MS, NOON + 2 * HOUR_MS)
    assert shop.ledger.titles == ["Heron: fit to dip", "2 trees fit to dip: Teal, Snipe"]


def test_what_is_over_before_it_is_told_is_not_told() -> None:
    """Dipped while it was gathered, without a word being said of it."""
    shop = Shop()
    shop.look(NOON, tree(1))
    shop.look(NOON + MINUTE_MS, tree(2), tree(3))
    shop.look(NOON + 4 * MINUTE_MS, tree(2, "drying", coat=5, dipped=NOON + 3 * MINUTE_MS))
    shop.look_often(NOON + 10 * MINUTE_MS, NOON + HOUR_MS)
    assert shop.ledger.titles == ["Heron: fit to dip", "Snipe: fit to dip"]


def test_a_correction_waits_for_nobody_and_takes_along_what_is_held() -> None:
    shop = Shop()
    shop.look(NOON, tree(1), tree(2))
    shop.look(NOON + MINUTE_MS, tree(3))
    shop.look(NOON + 2 * MINUTE_MS, tree(1, "drying", at=NOON + 2 * MINUTE_MS))
    assert shop.ledger.titles[1:] == ["Heron not fit after all, Snipe fit to dip"]
    shop.look(NOON + 3 * MINUTE_MS, tree(2, "drying", at=NOON + 3 * MINUTE_MS))
    assert shop.ledger.titles[2:] == ["Teal: not fit after all"]


def test_a_fit_that_nobody_heard_of_is_not_taken_back_and_comes_again() -> None:
    shop = Shop()
    shop.look(NOON, tree(1))
    shop.look(NOON + MINUTE_MS, tree(2))
    shop.look(NOON + 2 * MINUTE_MS, tree(2, "drying", at=NOON + 2 * MINUTE_MS))
    shop.look_often(NOON + 10 * MINUTE_MS, NOON + HOUR_MS)
    assert shop.ledger.titles == ["Heron: fit to dip"]
    shop.restart()
    shop.look(NOON + 2 * HOUR_MS, tree(2, at=NOON + 2 * HOUR_MS))
    assert shop.ledger.titles == ["Heron: fit to dip", "Teal: fit to dip"]


# -- quiet hours


def test_nothing_is_told_in_the_quiet_hours_and_one_summary_after_them() -> None:
    shop = Shop()
    shop.look(EVENING, tree(1, at=EVENING), tree(2, at=EVENING))
    shop.look(EVENING + HOUR_MS, tree(3, at=EVENING + HOUR_MS))
    gap = replace(tree(4, "unsure"), unsure_since=EVENING, reason="No air is known.", as_of=EVENING)
    shop.look(EVENING + 3 * HOUR_MS, gap)
    shop.troubles.append(silent("wall", EVENING + 4 * HOUR_MS))
    shop.look(EVENING + 4 * HOUR_MS)
    shop.restart()
    shop.look_often(EVENING + 5 * HOUR_MS, MORNING - 1)
    assert shop.ledger.messages == []
    shop.look_often(MORNING, MORNING + 4 * HOUR_MS)
    ((when, title, body, keys),) = shop.ledger.messages
    assert when == MORNING
    assert title == "This morning: 3 fit to dip, 1 unsure, 1 node silent"
    assert body == (
        "Fit to dip: Heron (coat 5 of 10, backup), Teal (coat 5 of 10, backup), "
        "Snipe (coat 5 of 10, backup). "
        "Unsure: Dunlin. A node is silent: wall (Cellar)."
    )
    assert len(keys) == 5


def test_the_summary_leaves_out_what_became_moot_in_the_night() -> None:
    """One was dipped, one was taken back, one node came back: of these nothing is said."""
    shop = Shop()
    shop.troubles.append(silent("wall", EVENING))
    shop.look(EVENING, tree(1, at=EVENING), tree(2, at=EVENING), tree(3, at=EVENING))
    shop.look(EVENING + HOUR_MS, tree(1, "drying", coat=5, dipped=EVENING + HOUR_MS))
    shop.troubles.clear()
    shop.look(EVENING + 2 * HOUR_MS, tree(2, "drying", at=EVENING + 2 * HOUR_MS))
    shop.look_often(EVENING + 3 * HOUR_MS, MORNING + HOUR_MS)
    assert shop.ledger.titles == ["Snipe: fit to dip"]
    assert shop.ledger.held() == []
    assert sorted(
        key.partition(":")[0] for key, one in shop.ledger.entries.items() if one.state == "moot"
    ) == [
        "fit",
        "fit",
        "silent",
    ]


def test_a_correction_of_what_was_told_in_the_day_waits_for_the_morning_too() -> None:
    shop = Shop()
    shop.look(EVENING - HOUR_MS, tree(1, at=EVENING - HOUR_MS))
    shop.look(EVENING, tree(1, "drying", at=EVENING))
    assert shop.ledger.titles == ["Heron: fit to dip"]
    shop.look_often(MORNING, MORNING + HOUR_MS)
    assert shop.ledger.titles == ["Heron: fit to dip", "Heron: not fit after all"]


def test_what_was_told_and_holds_again_in_the_morning_needs_no_word() -> None:
    shop = Shop()
    shop.look(EVENING - HOUR_MS, tree(1, at=EVENING - HOUR_MS))
    shop.look(EVENING, tree(1, "drying", at=EVENING))
    shop.look(EVENING + HOUR_MS, tree(1, at=EVENING + HOUR_MS))
    shop.look_often(MORNING, MORNING + HOUR_MS)
    assert shop.ledger.titles == ["Heron: fit to dip"]


def test_both_nights_on_which_clocks_change_end_with_one_summary() -> None:
    """Helsinki: 29 March 2026 at 03:00 forward, 25 October 2026 at 04:00 back."""
    for evening, seven in (
        ("2026-03-28T19:30:00Z", "2026-03-29T04:00:00Z"),
        ("2026-10-24T18:30:00Z", "2026-10-25T05:00:00Z"),
    ):
        shop = Shop()
        start = parse_time(evening)
        shop.look(start, tree(1, at=start, dipped=start - HOUR_MS))
        shop.look(start + 5 * HOUR_MS, tree(2, at=start + 5 * HOUR_MS, dipped=start - HOUR_MS))
        shop.look_often(start, parse_time(seven) + 6 * HOUR_MS, MINUTE_MS)
        assert [(when, title) for when, title, *_ in shop.ledger.messages] == [
            (parse_time(seven), "This morning: 2 fit to dip")
        ]


# -- sleep, restarts, clocks


def test_a_laptop_that_slept_six_hours_tells_one_summary() -> None:
    """Forty things became due meanwhile; that air and nodes are missing is nothing but the sleep."""
    shop = Shop(grace_ms=10 * MINUTE_MS)
    shop.look_often(NOON - HOUR_MS, NOON)
    wake = NOON + 6 * HOUR_MS
    shop.troubles += [silent(f"n{number}", NOON) for number in range(20)]
    trees = [replace(tree(1, at=wake - HOUR_MS), tree_id=n, label=f"Tree {n}") for n in range(20)]
    missed = [
        replace(tree(1, "unsure"), tree_id=n, label=f"Tree {n}", unsure_since=NOON) for n in range(20, 30)
    ]
    shop.look(wake, *trees, *missed)
    # Within minutes the nodes are heard again, and say what the air was: as it comes in, more are fit.
    coming = [replace(one, state="drying", as_of=NOON + HOUR_MS) for one in missed]
    shop.look(wake + MINUTE_MS, *trees, *coming)
    fit = [replace(one, state="fit", fit_at=sure(NOON + 2 * HOUR_MS)) for one in missed[:5]]
    shop.look(wake + 2 * MINUTE_MS, *trees, *fit, *missed[5:])
    assert shop.ledger.titles == []
    shop.troubles.clear()
    dry = [replace(one, state="drying", as_of=wake - 9 * MINUTE_MS) for one in missed[5:]]
    shop.look(wake + 3 * MINUTE_MS, *trees, *fit, *dry)
    assert shop.ledger.titles == ["25 trees fit to dip: Tree 0, Tree 1, Tree 2, Tree 3 and 21 more"]
    shop.look_often(wake + 5 * MINUTE_MS, wake + 2 * HOUR_MS)
    assert len(shop.ledger.messages) == 1


def test_after_a_sleep_nothing_waits_longer_than_the_grace_for_air_that_does_not_come() -> None:
    """One tree's node is dead: the others are told of once the grace is over; a mistake waits for nothing."""
    shop = Shop(grace_ms=10 * MINUTE_MS)
    shop.look(NOON)
    wake = NOON + 6 * HOUR_MS
    dead = replace(tree(2, "drying"), as_of=NOON)
    shop.look(wake, tree(1, at=NOON + HOUR_MS), dead)
    shop.look_often(wake, wake + 20 * MINUTE_MS, MINUTE_MS)
    assert [(when, title) for when, title, *_ in shop.ledger.messages] == [
        (wake + 10 * MINUTE_MS, "Heron: fit to dip")
    ]
    again = wake + 2 * HOUR_MS
    shop.look(again, replace(tree(1, "drying", at=again), fit_at=NEVER), dead)
    assert shop.ledger.titles[1:] == ["Heron: not fit after all"]


def test_what_stays_missing_after_a_sleep_is_told_once_the_grace_is_over() -> None:
    shop = Shop(grace_ms=10 * MINUTE_MS)
    shop.look(NOON)
    wake = NOON + 6 * HOUR_MS
    shop.troubles.append(silent("wall", NOON))
    shop.look(wake, replace(tree(1, "unsure"), unsure_since=NOON))
    shop.look_often(wake, wake + HOUR_MS, MINUTE_MS)
    assert [(when, title) for when, title, *_ in shop.ledger.messages] == [
        (wake + 10 * MINUTE_MS, "Heron unsure, 1 node silent")
    ]


def test_a_start_in_the_night_keeps_what_is_held_of_unsure_trees() -> None:
    """For ten minutes after a start nothing is known of them: they are neither told of nor dropped."""
    shop = Shop(grace_ms=10 * MINUTE_MS)
    shop.look(EVENING - HOUR_MS)
    gap = replace(tree(1, "unsure"), unsure_since=EVENING)
    shop.look_often(EVENING - HOUR_MS, EVENING)
    shop.look(EVENING + 5 * MINUTE_MS, gap)
    shop.restart()
    shop.look_often(MORNING - 3 * MINUTE_MS, MORNING + HOUR_MS, MINUTE_MS)
    assert shop.ledger.titles == ["Heron: unsure"]


def test_a_clock_that_is_set_back_repeats_nothing() -> None:
    """Over the end of the quiet hours and back into them; over the time of gathering and back."""
    shop = Shop()
    shop.look(MORNING - HOUR_MS, tree(1, at=MORNING - HOUR_MS))
    shop.look(MORNING + 5 * MINUTE_MS)
    shop.look(MORNING - 30 * MINUTE_MS, tree(2, at=MORNING - 30 * MINUTE_MS))
    shop.look_often(MORNING - 29 * MINUTE_MS, MORNING + HOUR_MS, MINUTE_MS)
    assert shop.ledger.titles == ["Heron: fit to dip", "Teal: fit to dip"]
    assert len(set(shop.ledger.keys_told)) == 2


# -- laws

STATES = ("drying", "fit", "unsure")


@st.composite
def days(draw: st.DrawFn) -> list[tuple[Millis, Sequence[str], bool]]:
    """Looks in a row: minutes after the one before, a state for each of three trees, a restart before it."""
    return draw(
        st.lists(
            st.tuples(
                st.integers(-20, 400),
                st.lists(st.sampled_from(STATES), min_size=3, max_size=3),
                st.booleans(),
            ),
            max_size=25,
        )
    )


@settings(max_examples=200)
@given(days(), st.integers(0, 23), st.integers(0, 30))
def test_whatever_comes_each_cause_is_told_once_and_never_in_the_quiet_hours(
    looks: list[tuple[int, Sequence[str], bool]], hour: int, gather_min: int
) -> None:
    shop = Shop(replace(RULES, gather_ms=gather_min * MINUTE_MS))
    now = NOON + hour * HOUR_MS
    for minutes, states, restart in looks:
        now += minutes * MINUTE_MS
        if restart:
            shop.restart()
        outlooks = [replace(tree(n, state, at=now), unsure_since=NOON) for n, state in enumerate(states, 1)]
        shop.look(now, *outlooks)
    told = shop.ledger.keys_told
    assert len(told) == len(set(told))
    assert not any(RULES.quiet.holds(when) for when, *_ in shop.ledger.messages)
    # In the end, with enough time by day, everything that still holds was told.
    hours = range(now + HOUR_MS, now + DAY_MS, HOUR_MS)
    day = next(moment for moment in hours if not RULES.quiet.holds(moment))
    shop.look(day)
    fit = [number for number, outlook in shop.rack.trees.items() if outlook.state == "fit"]
    for number in fit:
        keys = [key for key in shop.ledger.keys_told if key.startswith(f"fit:{number}:")]
        wrong = [key for key in shop.ledger.keys_told if key.startswith(f"not-fit:{number}:")]
        assert len(keys) == len(wrong) + 1


@settings(max_examples=200)
@given(days(), st.integers(0, 23))
def test_a_restart_changes_nothing_of_what_is_told(
    looks: list[tuple[int, Sequence[str], bool]], hour: int
) -> None:
    """Looks restarted or not, the same is told at the same times."""
    one, other = Shop(), Shop()
    now = NOON + hour * HOUR_MS
    for minutes, states, _ in looks:
        now += minutes * MINUTE_MS
        outlooks = [replace(tree(n, state, at=now), unsure_since=NOON) for n, state in enumerate(states, 1)]
        one.look(now, *outlooks)
        other.restart()
        other.look(now, *outlooks)
    assert one.ledger.messages == other.ledger.messages
