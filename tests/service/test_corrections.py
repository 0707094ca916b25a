"""A "fit" that later readings take back is corrected once, also over restarts; fit again is told again."""

from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import Engine

from scheduler.forecast import NEVER, Outlook
from scheduler.reminders import Reminders
from sensors.clock import HOUR_MS, MINUTE_MS
from server.phone.ledger import NoticeLedger
from server.store import notices
from tests.planning.outlooks import AT_ANY_HOUR, HERON, NOW, sure

FIT = replace(HERON, state="fit", fit_at=sure(NOW - MINUTE_MS), as_of=NOW)
NOT_FIT = replace(HERON, state="drying", fit_at=sure(NOW + 3 * HOUR_MS), as_of=NOW)


class OneTree:
    """A judge of one tree, whose verdict is said from outside."""

    def __init__(self, outlook: Outlook) -> None:
        self.outlook = outlook

    def outlooks(self) -> Sequence[Outlook]:
        return [self.outlook]


def tell(engine: Engine, *outlooks: Outlook) -> list[str]:
    """What is told as the tree goes through those verdicts, each after a restart; the causes in order."""
    for outlook in outlooks:
        Reminders(OneTree(outlook), NoticeLedger(engine, lambda: 0), lambda: AT_ANY_HOUR, grace_ms=0).remind(
            NOW
        )
    return causes(engine)


def causes(engine: Engine) -> list[str]:
    return [kept.cause for kept in reversed(notices.notices(engine, limit=50))]


def test_a_fit_taken_back_is_corrected_once_however_often_it_is_restarted(engine: Engine) -> None:
    assert tell(engine, FIT, NOT_FIT, NOT_FIT, NOT_FIT) == ["fit", "not-fit"]
    latest = notices.notices(engine, limit=1)[0]
    assert latest.title == "Heron: not fit after all"
    assert "Wait with coat 5. Expected about 3 h after" in latest.body


def test_fit_again_is_told_once_more_and_can_be_taken_back_again(engine: Engine) -> None:
    assert tell(engine, FIT, NOT_FIT, FIT, FIT) == ["fit", "not-fit", "fit"]
    assert tell(engine, NOT_FIT, NOT_FIT) == ["fit", "not-fit", "fit", "not-fit"]


def test_without_a_restart_it_is_the_same(engine: Engine) -> None:
    judge = OneTree(FIT)
    reminders = Reminders(judge, NoticeLedger(engine, lambda: 0), lambda: AT_ANY_HOUR, grace_ms=0)
    for outlook in (FIT, FIT, NOT_FIT, NOT_FIT, FIT, FIT):
        judge.outlook = outlook
        reminders.remind(NOW)
    assert causes(engine) == ["fit", "not-fit", "fit"]


def test_a_tree_that_is_only_being_judged_anew_is_not_corrected(engine: Engine) -> None:
    behind = replace(NOT_FIT, as_of=NOW - HOUR_MS)
    assert tell(engine, FIT, behind, FIT) == ["fit"]


def test_nothing_is_corrected_that_was_never_told_nor_after_the_next_dip(engine: Engine) -> None:
    assert tell(engine, NOT_FIT) == []
    dipped = replace(NOT_FIT, coat=5, dipped_at=NOW)
    assert tell(engine, FIT, dipped) == ["fit"]


def test_a_fit_that_a_gap_found_late_takes_back_is_corrected_too(engine: Engine) -> None:
    gap = replace(NOT_FIT, state="unsure", fit_at=NEVER, unsure_since=NOW - HOUR_MS, reason="No air.")
    assert tell(engine, FIT, gap, gap) == ["fit", "together"]
    (latest,) = notices.notices(engine, limit=1)
    assert latest.title == "Heron not fit after all, Heron unsure"
    assert latest.body == "Not fit after all: Heron (wait with coat 5). Unsure: Heron."
