"""Which notices are due. Pure: the same outlooks give the same notices; the ledger tells each key once."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from scheduler.forecast import Judge, Ledger, Notice, Outlook
from scheduler.notice import correction_words, fit_words, swing_words, through_words, unsure_words
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


def corrected(outlook: Outlook, told: Mapping[str, Millis], now: Millis) -> Notice | None:
    """The notice that a tree's "fit" makes due, by what was told of this coat before; None where none is.

    Told fit and, judged as far as that time, it is not: one correction. Fit again after a correction: one
    new "fit". The keys count the rounds, so that a restart finds where they stand. A tree that is still
    being judged anew, up to before the time it was called fit, is left alone: nothing is known of it yet.
    """
    if outlook.dipped_at is None or not 1 <= outlook.coat < outlook.of:
        return None
    key = f"{outlook.tree_id}:{outlook.coat}:{outlook.dipped_at}"
    fits, wrong = _rounds(f"fit:{key}", told), _rounds(f"not-fit:{key}", told)
    if outlook.state == "fit" and fits and len(fits) == len(wrong):
        fit = _of(outlook, now)
        return None if fit is None else replace(fit, key=f"fit:{key}:{len(fits) + 1}")
    open_round = len(fits) > len(wrong)
    if outlook.state in ("drying", "unsure") and open_round and outlook.as_of >= told[fits[-1]]:
        title, body = correction_words(outlook)
        number = len(fits)
        name = f"not-fit:{key}" if number == 1 else f"not-fit:{key}:{number}"
        return Notice(name, "not-fit", outlook.tree_id, title, body, now)
    return None


def _rounds(key: str, told: Mapping[str, Millis]) -> list[str]:
    """The keys that were told of the first and the later rounds, in order."""
    names = [key] if key in told else []
    while names and f"{key}:{len(names) + 1}" in told:
        names.append(f"{key}:{len(names) + 1}")
    return names


class Reminders:
    """Takes what is due to the ledger, which keeps each key once for good; this only spares it the asking."""

    def __init__(self, judge: Judge, ledger: Ledger) -> None:
        self._judge = judge
        self._ledger = ledger
        self._known: set[str] = set()
        self._told: dict[int, dict[str, Millis]] = {}

    def remind(self, now: Millis) -> int:
        """Have the ledger remember what is due at shop time `now` [ms]; returns how many notices were new."""
        outlooks = self._judge.outlooks()
        notices = [notice for notice in due(outlooks, now) if notice.key not in self._known]
        for outlook in outlooks:
            correction = corrected(outlook, self._told_of(outlook.tree_id), now)
            if correction is not None and correction.key not in self._known:
                notices.append(correction)
        if not notices:
            return 0
        new = self._ledger.remember(notices)
        self._known.update(notice.key for notice in notices)
        for notice in notices:
            if notice.tree_id is not None:
                self._told_of(notice.tree_id).setdefault(notice.key, notice.at)
        return new

    def _told_of(self, tree_id: int) -> dict[str, Millis]:
        if tree_id not in self._told:
            self._told[tree_id] = dict(self._ledger.told(tree_id))
        return self._told[tree_id]
