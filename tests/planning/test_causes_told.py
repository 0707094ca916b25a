"""Which causes are told, once each: the ones beside 'fit', and what was put off."""

from dataclasses import replace

from scheduler.causes import USUAL
from scheduler.ledger import PutOff
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, parse_time
from tests.planning.outlooks import sure
from tests.planning.told_shop import NOON, RULES, Shop, tree

# -- the other causes


def test_each_cause_is_told_only_where_it_is_on() -> None:
    shop = Shop(replace(RULES, on=USUAL - {"fit", "not-fit"}))
    shop.look(NOON, tree(1))
    shop.look(NOON + HOUR_MS, tree(1, "drying", at=NOON + HOUR_MS))
    assert shop.ledger.messages == []


def test_fit_soon_is_told_where_it_is_asked_for_and_once_a_coat() -> None:
    soon = replace(tree(1, "drying"), fit_at=sure(NOON + 25 * MINUTE_MS))
    quiet = Shop()
    quiet.look(NOON, soon)
    assert quiet.ledger.messages == []
    shop = Shop(replace(RULES, on=USUAL | {"soon"}))
    shop.look(NOON - 20 * MINUTE_MS, soon)
    assert shop.ledger.messages == []
    shop.look(NOON, soon)
    shop.look(NOON + 5 * MINUTE_MS, replace(soon, fit_at=sure(NOON + 31 * MINUTE_MS)))
    assert shop.ledger.messages[0][1:3] == (
        "Heron: fit soon",
        "Coat 5 of 10 (backup) may go on in about 25 min, if the air goes on as it is.",
    )
    assert len(shop.ledger.messages) == 1


def test_a_coat_that_waits_too_long_wants_pre_wetting_once() -> None:
    shop = Shop()
    shop.look(NOON, tree(1))
    shop.look(NOON + 48 * HOUR_MS)
    assert len(shop.ledger.messages) == 1
    shop.look_often(NOON + 49 * HOUR_MS, NOON + 60 * HOUR_MS, HOUR_MS)
    assert shop.ledger.messages[1][1:3] == (
        "Heron: pre-wet it before the next dip",
        "Coat 4 of 10 has been dry for 2 days; dry shell drinks the new slurry.",
    )
    assert len(shop.ledger.messages) == 2


def test_the_last_call_names_what_can_still_go_on_once_a_day() -> None:
    closing = parse_time("2026-03-02T16:00:00Z")
    shop = Shop(replace(RULES, closing=closing))
    drying = replace(tree(2, "drying"), fit_at=sure(closing - 30 * MINUTE_MS))
    late = replace(tree(3, "drying"), fit_at=sure(closing + 30 * MINUTE_MS))
    shop.look(NOON, tree(1), drying, late)
    shop.look_often(NOON + HOUR_MS, closing - 91 * MINUTE_MS)
    assert shop.ledger.titles == ["Heron: fit to dip"]
    shop.look_often(closing - 90 * MINUTE_MS, closing)
    assert shop.ledger.messages[1][1:3] == (
        "Last call: the shop closes at 18:00",
        "Fit now: Heron. Expected before closing: Teal about 17:30.",
    )
    assert len(shop.ledger.messages) == 2


def test_a_gap_that_comes_and_goes_is_told_once_a_day() -> None:
    shop = Shop()
    for hour in (0, 3, 6):
        since = NOON + hour * HOUR_MS
        shop.look(since, replace(tree(1, "unsure"), unsure_since=since))
        shop.look(since + HOUR_MS, tree(1, "drying", at=since + HOUR_MS))
    assert shop.ledger.titles == ["Heron: unsure"]
    tomorrow = NOON + DAY_MS
    shop.look(tomorrow, replace(tree(1, "unsure"), unsure_since=tomorrow))
    assert shop.ledger.titles == ["Heron: unsure", "Heron: unsure"]


# -- put off


def test_a_tree_that_was_put_off_is_told_of_once_more() -> None:
    shop = Shop()
    fit = tree(1)
    shop.look(NOON, fit)
    assert fit.dipped_at is not None
    shop.ledger.later[1] = PutOff(7, 1, fit.dipped_at, NOON + 30 * MINUTE_MS)
    shop.look_often(NOON, NOON + 29 * MINUTE_MS, MINUTE_MS)
    assert len(shop.ledger.messages) == 1
    shop.restart()
    shop.look_often(NOON + 30 * MINUTE_MS, NOON + 5 * HOUR_MS)
    assert shop.ledger.titles == ["Heron: fit to dip", "Heron: still fit to dip"]
    shop.ledger.later[1] = PutOff(8, 1, fit.dipped_at, NOON + 6 * HOUR_MS)
    shop.look(NOON + 6 * HOUR_MS)
    assert len(shop.ledger.messages) == 3


def test_a_tree_that_was_dipped_meanwhile_is_not_told_of_again() -> None:
    shop = Shop()
    fit = tree(1)
    shop.look(NOON, fit)
    assert fit.dipped_at is not None
    shop.ledger.later[1] = PutOff(7, 1, fit.dipped_at, NOON + 30 * MINUTE_MS)
    shop.look(NOON + 20 * MINUTE_MS, tree(1, "drying", coat=5, dipped=NOON + 15 * MINUTE_MS))
    shop.look_often(NOON + 30 * MINUTE_MS, NOON + 2 * HOUR_MS)
    later = NOON + 3 * HOUR_MS
    shop.look(later, tree(1, coat=5, at=later, dipped=NOON + 15 * MINUTE_MS))
    assert shop.ledger.titles == ["Heron: fit to dip", "Heron: fit to dip"]
