"""Quiet hours, gathering and old notices with the real store and outbox behind them."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import time
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.forecast import Outlook
from scheduler.quiet import QuietHours
from scheduler.reminders import Reminders
from scheduler.telling import Telling
from sensors.clock import HOUR_MS, MINUTE_MS, SECOND_MS, Millis, parse_time
from server.phone.ledger import NoticeLedger
from server.phone.outbox import OLD_MS, Outbox
from server.phone.sending import Outcome
from server.store import held_notices, notices, subscriptions
from server.store import put_off as put_off_store
from server.store.engine import Engine, open_store
from server.store.values import KeptNotice
from tests.planning.memory_ledger import MemoryLedger, SetRack
from tests.planning.test_reminders_when import STATES, days
from tests.planning.told_shop import NOON, tree
from tests.service.fake_shop import FakeShop
from tests.service.postman import Postman, WallClock, add_phone, run

HELSINKI = ZoneInfo("Europe/Helsinki")
RULES = Telling(HELSINKI, QuietHours(time(21), time(7), HELSINKI))
EVENING = parse_time("2026-03-02T19:30:00Z")
MORNING = parse_time("2026-03-03T05:00:00Z")


class Told:
    """Reminders and outbox over one store, with one clock for shop and wall."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.rack, self.wall, self.postman = SetRack(), WallClock(), Postman()
        self.heard: list[KeptNotice] = []
        self.restart()

    def restart(self) -> None:
        ledger = NoticeLedger(self.engine, self.wall, self.heard.append)
        self.reminders = Reminders(self.rack, ledger, lambda: RULES, grace_ms=0)
        self.outbox = Outbox(
            self.engine,
            {"push": self.postman, "other": self.postman},
            self.wall,
            may_send=lambda: not RULES.quiet.holds(self.wall.now),
            still_holds=lambda one: self.reminders.still_due(
                held_notices.keys_of(self.engine, one.notice_id)
            ),
        )

    def look(self, now: Millis, *outlooks: Outlook) -> None:
        self.wall.now = now
        self.rack.say(*outlooks)
        self.reminders.remind(now)
        run(self.outbox)


def test_a_quiet_night_is_one_push_in_the_morning_over_restarts(engine: Engine) -> None:
    told = Told(engine)
    add_phone(engine)
    told.look(EVENING, tree(1, at=EVENING), tree(2, at=EVENING))
    told.restart()
    told.look(EVENING + 4 * HOUR_MS, tree(3, at=EVENING + 4 * HOUR_MS))
    assert [kept.held for kept in notices.notices(engine, 10)] == [True] * 3
    told.look(EVENING + 5 * HOUR_MS, tree(2, "drying", coat=5, dipped=EVENING + 5 * HOUR_MS))
    told.restart()
    told.look(MORNING - SECOND_MS)
    assert (told.postman.sent, told.heard) == ([], [])
    told.look(MORNING)
    told.restart()
    told.look(MORNING + MINUTE_MS)
    assert told.postman.titles == ["This morning: 2 fit to dip"]
    assert [kept.title for kept in told.heard] == ["This morning: 2 fit to dip"]
    (summary,) = notices.notices(engine, 10)  # of Teal, dipped in the night, nobody hears
    assert (summary.cause, summary.sent, summary.held) == ("together", 1, False)
    assert held_notices.held(engine) == []
    assert held_notices.trees_of(engine, summary.id) == [1, 3]


def test_a_retry_does_not_leave_in_the_quiet_hours(engine: Engine) -> None:
    told = Told(engine)
    add_phone(engine)
    told.postman.answers.append(Outcome("later", "no answer"))
    dusk = EVENING - HOUR_MS
    told.look(dusk, tree(1, at=dusk))
    assert len(told.postman.sent) == 1
    for moment in (EVENING, EVENING + HOUR_MS, MORNING - SECOND_MS):
        told.look(moment)
    assert len(told.postman.sent) == 1
    told.look(MORNING)
    assert told.postman.titles == ["Heron: fit to dip"] * 2  # it holds still


@pytest.mark.parametrize("other", [False, True])
def test_what_could_not_be_sent_for_long_is_sent_only_if_it_holds(engine: Engine, other: bool) -> None:
    """The network was away: the tree was dipped meanwhile, and of two in one message one still holds."""
    told = Told(engine)
    add_phone(engine)
    told.postman.answers += [Outcome("later", "no network", 3600.0)]
    told.look(NOON, tree(1), *([tree(2)] if other else []))
    told.look(NOON + 20 * MINUTE_MS, tree(1, "drying", coat=5, dipped=NOON + 18 * MINUTE_MS))
    told.look(NOON + OLD_MS + HOUR_MS)
    told.look(NOON + OLD_MS + 3 * HOUR_MS)
    sent = ["2 trees fit to dip: Heron, Teal"] * 2 if other else ["Heron: fit to dip"]
    assert told.postman.titles == sent
    kept = notices.notices(engine, 1)[0]
    assert (kept.sent, kept.dropped) == ((1, 0) if other else (0, 1))
    assert kept.last_error == (None if other else "it was over before it could be sent")


def test_everybody_is_told_once_by_a_sender_of_their_own(engine: Engine) -> None:
    told = Told(engine)
    mail = Postman([Outcome("later", "the mailbox is busy")])
    told.outbox = Outbox(engine, {"push": told.postman, "other": mail}, told.wall)
    add_phone(engine)
    subscriptions.add_channel(engine, "Mail", "mailto://a:b@mail.example", NOON)
    told.look(NOON, tree(1))
    told.look(NOON + MINUTE_MS)
    told.look(NOON + 2 * MINUTE_MS)
    assert told.postman.titles == ["Heron: fit to dip"]
    assert mail.titles == ["Heron: fit to dip"] * 2  # the first did not get through
    assert (notices.notices(engine, 1)[0].sent, notices.undelivered(engine, 9)) == (2, [])


def test_later_on_a_notice_is_one_reminder(shop: FakeShop) -> None:
    told = Told(shop.engine)
    fit = tree(shop.hang("Heron", "A1").id)
    told.look(NOON, fit)
    assert fit.dipped_at is not None
    for _ in range(2):  # pressed on two phones
        put_off_store.add_put_off(shop.engine, fit.tree_id, fit.dipped_at, NOON, NOON + 30 * MINUTE_MS)
    told.restart()
    for minutes in (29, 30, 31, 120):
        told.look(NOON + minutes * MINUTE_MS)
    assert [kept.title for kept in told.heard] == ["Heron: fit to dip", "Heron: still fit to dip"]


@settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(days(), st.integers(0, 23))
def test_the_stores_ledger_tells_what_the_one_in_memory_tells(
    looks: list[tuple[int, Sequence[str], bool]], hour: int
) -> None:
    """The laws of when a person is told are held with a ledger in memory: this one does as that one."""
    assert set(STATES) == {"drying", "fit", "unsure"}
    with TemporaryDirectory() as folder:
        engine = open_store(f"sqlite:///{folder}/slowcorner.db")
        memory, rack = MemoryLedger(), SetRack()
        heard: list[tuple[str, str]] = []
        ledger = NoticeLedger(engine, lambda: 0, lambda kept: heard.append((kept.title, kept.body)))
        both = [Reminders(rack, one, lambda: RULES, grace_ms=0) for one in (memory, ledger)]
        now = NOON + hour * HOUR_MS
        for minutes, states, restart in looks:
            now += minutes * MINUTE_MS
            rack.say(
                *(replace(tree(n, state, at=now), unsure_since=NOON) for n, state in enumerate(states, 1))
            )
            if restart:
                both = [Reminders(rack, one, lambda: RULES, grace_ms=0) for one in (memory, ledger)]
            counts = [one.remind(now) for one in both]
            assert counts[0] == counts[1]
        engine.dispose()
    assert heard == [(title, body) for _, title, body, _ in memory.messages]
