"""A rack whose reminders are in the test's hands: who is fit, what hour it is, and what was told."""

from dataclasses import dataclass, field, replace
from datetime import time
from zoneinfo import ZoneInfo

from scheduler.forecast import NEVER, Notice, Outlook
from scheduler.quiet import QuietHours
from scheduler.reminders import Reminders
from scheduler.telling import Telling
from sensors.clock import HOUR_MS, MINUTE_MS, Millis, parse_time
from tests.planning.memory_ledger import MemoryLedger, SetRack
from tests.planning.outlooks import HERON, sure

HELSINKI = ZoneInfo("Europe/Helsinki")
RULES = Telling(HELSINKI, QuietHours(time(21), time(7), HELSINKI))
NOON = parse_time("2026-03-02T10:00:00Z")
"""Noon of a Monday in Helsinki."""

EVENING = parse_time("2026-03-02T19:30:00Z")
MORNING = parse_time("2026-03-03T05:00:00Z")
NAMES = ("", "Heron", "Teal", "Snipe", "Dunlin", "Avocet", "Bittern", "Curlew")


@dataclass
class Shop:
    """A rack, a ledger and the reminders over them; `restart` makes these anew."""

    rules: Telling = RULES
    rack: SetRack = field(default_factory=SetRack)
    ledger: MemoryLedger = field(default_factory=MemoryLedger)
    troubles: list[Notice] = field(default_factory=list)
    grace_ms: Millis = 0

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        self.reminders = Reminders(
            self.rack, self.ledger, lambda: self.rules, lambda _now: self.troubles, self.grace_ms
        )

    def look(self, now: Millis, *outlooks: Outlook) -> None:
        self.rack.say(*outlooks)
        self.reminders.remind(now)

    def look_often(self, start: Millis, end: Millis, step: Millis = 5 * MINUTE_MS) -> None:
        for now in range(start, end + 1, step):
            self.reminders.remind(now)


def tree(number: int, state: str = "fit", at: Millis = NOON, coat: int = 4, dipped: Millis = 0) -> Outlook:
    return replace(
        HERON,
        tree_id=number,
        label=NAMES[number],
        state=state,  # type: ignore[arg-type]
        coat=coat,
        fit_at=sure(at) if state in ("fit", "through") else NEVER,
        dipped_at=dipped or NOON - 8 * HOUR_MS,
        as_of=at,
    )


def silent(node: str, at: Millis) -> Notice:
    key = f"silent:cellar/{node}:2026-03-02"
    return Notice(key, "silent", None, f"{node} (Cellar): silent", "It says nothing.", at, f"{node} (Cellar)")
