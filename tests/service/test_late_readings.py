"""A node's buffer that comes late takes a "fit" back, and the person who was told is told so once."""

from collections.abc import Sequence

import pytest

from scheduler.forecast import Outlook
from scheduler.reminders import Reminders
from sensors.clock import HOUR_MS
from server.live import LiveRack
from server.phone.ledger import NoticeLedger
from server.store import notices
from server.store.engine import Engine
from tests.planning.outlooks import AT_ANY_HOUR
from tests.service.records import START, steady
from tests.service.test_live import Shop


class Told:
    """The rack and its reminders, as the service has them."""

    def __init__(self, engine: Engine, rack: LiveRack, shop: Shop) -> None:
        self.rack, self.shop, self.engine = rack, shop, engine
        self.reminders = Reminders(self, NoticeLedger(engine, lambda: 0), lambda: AT_ANY_HOUR, grace_ms=0)

    def outlooks(self) -> Sequence[Outlook]:
        return self.rack.outlooks()

    def look(self) -> list[str]:
        """Go on to now; the causes of all notices so far, the earliest first."""
        self.rack.look()
        self.reminders.remind(self.shop.clock.now())
        return [kept.cause for kept in reversed(notices.notices(self.engine, limit=50))]


@pytest.mark.parametrize("members", [1, 8])
def test_late_readings_take_a_fit_back_and_it_is_said_once(engine: Engine, members: int) -> None:
    shop = Shop(engine, members)
    shop.dip(0.5)
    told = Told(engine, shop.rack(), shop)
    shop.say(steady(START, 16, rh_pct=30.0, node="near-the-heater"), told.rack)
    shop.at(16)
    assert told.look() == ["fit"]
    # Two nodes kept what they saw while the network was away: damp air all the while.
    late = [*steady(START, 16, rh_pct=88.0, node="n1"), *steady(START, 16, rh_pct=87.0, node="n2")]
    for part in (late[: len(late) // 2], late[len(late) // 2 :]):
        shop.say(part, told.rack)
        told.look()
    assert told.look() == ["fit", "not-fit"]
    [outlook] = told.outlooks()
    assert outlook.state == "drying"
    title = notices.notices(engine, limit=1)[0].title
    assert title == "Heron: not fit after all"
    # Over a restart, and as time goes on, it is said no more.
    again = Told(engine, shop.rack(), shop)
    assert again.look() == ["fit", "not-fit"]
    for node, rh in (("n1", 88.0), ("n2", 87.0), ("near-the-heater", 30.0)):
        shop.say(steady(START + 16 * HOUR_MS, 0.5, rh_pct=rh, node=node), again.rack)
    shop.at(16.5)
    assert again.look() == ["fit", "not-fit"]


def test_late_readings_that_change_nothing_of_the_verdict_say_nothing(engine: Engine) -> None:
    shop = Shop(engine)
    shop.dip(0.5)
    told = Told(engine, shop.rack(), shop)
    shop.say(steady(START, 16, rh_pct=30.0, node="n1"), told.rack)
    shop.at(16)
    assert told.look() == ["fit"]
    shop.say(steady(START, 16, rh_pct=31.0, node="n2"), told.rack)
    assert told.look() == ["fit"]
