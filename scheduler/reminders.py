"""Which notices are due. Pure: the same outlooks give the same notices; the ledger tells each key once."""

from collections.abc import Iterable

from scheduler.forecast import Judge, Ledger, Notice, Outlook
from scheduler.notice import fit_words, swing_words, through_words, unsure_words
from sensors.clock import Millis


def due(outlooks: Iterable[Outlook], now: Millis) -> list[Notice]:
    """List what a person should be told as things stand, whether it was told before or not.

    A notice's key is made of what caused it and of nothing that can move afterwards: the tree, the coat
    and when it was dipped; for a gap in the air, where the gap began. So a restart, or a forecast that
    shifts by a minute, gives the same key again, and a dip that is undone and said anew at another time
    gives a new one.

    `now` is shop time [ms]; it dates a notice whose cause has no time of its own. Notices come by tree id.
    """
    notices: list[Notice] = []
    for outlook in sorted(outlooks, key=lambda outlook: outlook.tree_id):
        notices += [notice for notice in (_of(outlook, now), _of_tonight(outlook, now)) if notice is not None]
    return notices


def _of(outlook: Outlook, now: Millis) -> Notice | None:
    if outlook.dipped_at is None or outlook.coat < 1:
        return None  # nothing on it yet, so nothing that could have dried
    tree = f"{outlook.tree_id}:{outlook.coat}"
    reached = outlook.fit_at.p90 if outlook.fit_at.p90 is not None else outlook.fit_at.p50
    at = now if reached is None else min(reached, now)
    match outlook.state:
        case "fit" if outlook.coat < outlook.of:
            title, body = fit_words(outlook)
            return Notice(f"fit:{tree}:{outlook.dipped_at}", "fit", outlook.tree_id, title, body, at)
        case "through":
            title, body = through_words(outlook)
            return Notice(f"through:{tree}:{outlook.dipped_at}", "through", outlook.tree_id, title, body, at)
        case "unsure":
            title, body = unsure_words(outlook)
            since = outlook.dipped_at if outlook.unsure_since is None else outlook.unsure_since
            return Notice(f"unsure:{tree}:{since}", "unsure", outlook.tree_id, title, body, min(since, now))
    return None


def _of_tonight(outlook: Outlook, now: Millis) -> Notice | None:
    """One notice an evening: its key is the date, and a coat dipped after it says no more that day."""
    if outlook.swing_ahead is None:
        return None
    title, body = swing_words(outlook)
    key = f"swing:{outlook.tree_id}:{outlook.swing_ahead.date}"
    return Notice(key, "swing", outlook.tree_id, title, body, now)


class Reminders:
    """Takes what is due to the ledger, which keeps each key once for good; this only spares it the asking."""

    def __init__(self, judge: Judge, ledger: Ledger) -> None:
        self._judge = judge
        self._ledger = ledger
        self._known: set[str] = set()

    def remind(self, now: Millis) -> int:
        """Have the ledger remember what is due at shop time `now` [ms]; returns how many notices were new."""
        notices = [notice for notice in due(self._judge.outlooks(), now) if notice.key not in self._known]
        if not notices:
            return 0
        new = self._ledger.remember(notices)
        self._known.update(notice.key for notice in notices)
        return new
