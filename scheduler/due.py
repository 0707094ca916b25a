"""Which notices are due, as things stand. Pure: the same outlooks give the same notices under the same keys.

A notice's key is made of what caused it and of nothing that can move afterwards: the tree, the coat and when
it was dipped; for a gap in the air, where the gap began. So a restart, or a forecast that shifts by a minute,
gives the same key again, and a dip that is undone and said anew at another time gives a new one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from scheduler.forecast import Notice, Outlook
from scheduler.ledger import PutOff
from scheduler.notice import (
    brief_of,
    correction_words,
    fit_words,
    later_words,
    soon_words,
    swing_words,
    through_words,
    unsure_words,
    waiting_words,
)
from scheduler.summary import listed
from scheduler.telling import LAST_CALL_MS, SOON_MS, Telling
from sensors.clock import SECOND_MS, Millis


def due_of(
    outlook: Outlook,
    now: Millis,
    telling: Telling,
    told: Mapping[str, Millis],
    put_off: PutOff | None = None,
) -> list[Notice]:
    """What a person should be told of a tree, whether it was told before or not.

    `told` are the keys that a person was told of it, each with the time of its cause [ms]: by them the rounds
    of "fit" and "not fit after all" are counted. What nobody was told need not be taken back. Not for a tree
    that is `being_judged_anew`. `now` is shop time [ms]: it dates a notice of a cause without a time.
    """
    found = (
        _fit(outlook, told, now),
        _correction(outlook, told, now),
        _through(outlook, now),
        _unsure(outlook, now),
        _soon(outlook, now),
        _waiting(outlook, now, telling),
        _tonight(outlook, now),
        _later(outlook, put_off, now),
    )
    return [notice for notice in found if notice is not None]


def being_judged_anew(outlook: Outlook, kept: Mapping[str, Millis]) -> bool:
    """Whether a tree that was called fit is judged anew and not yet as far as that time: nothing is known.

    `kept` are the keys of it that were told or are held, each with the time of its cause [ms].
    """
    key = _coat(outlook)
    if key is None or outlook.state == "fit":
        return False
    fits = _rounds(f"fit:{key}", kept)
    return bool(fits) and outlook.as_of < kept[fits[-1]]


def last_call(outlooks: Iterable[Outlook], now: Millis, telling: Telling) -> Notice | None:
    """What can still be dipped before the shop closes; None at other times and where nothing can."""
    closing = telling.closing
    if closing is None or not 0 <= closing - now <= LAST_CALL_MS:
        return None
    trees = sorted((one for one in outlooks if 1 <= one.coat < one.of), key=lambda one: one.label)
    fit = [one.label for one in trees if one.state == "fit"]
    coming = [
        f"{one.label} about {_clock(one.fit_at.p50, telling)}"
        for one in trees
        if one.state == "drying" and one.fit_at.p50 is not None and now <= one.fit_at.p50 <= closing
    ]
    if not fit and not coming:
        return None
    said = [f"Fit now: {listed(fit)}."] if fit else []
    said += [f"Expected before closing: {listed(coming)}."] if coming else []
    closes = datetime.fromtimestamp(closing / SECOND_MS, telling.zone)
    subject, body = f"the shop closes at {closes:%H:%M}", " ".join(said)
    key, title = f"last-call:{closes.date()}", f"Last call: {subject}"
    return Notice(key, "last-call", None, title, body, now, subject, body.removesuffix("."))


def _fit(outlook: Outlook, told: Mapping[str, Millis], now: Millis) -> Notice | None:
    """Told once a coat; and once more after each correction."""
    key = _coat(outlook)
    if outlook.state != "fit" or key is None or outlook.coat >= outlook.of:
        return None
    fits, wrong = _rounds(f"fit:{key}", told), _rounds(f"not-fit:{key}", told)
    number = len(fits) if len(fits) > len(wrong) else len(fits) + 1
    return _made(_numbered(f"fit:{key}", number), "fit", outlook, fit_words(outlook), _reached(outlook, now))


def _correction(outlook: Outlook, told: Mapping[str, Millis], now: Millis) -> Notice | None:
    """Told fit and it is not: one correction for each "fit".

    The keys count the rounds, so that a restart finds where they stand.
    """
    key = _coat(outlook)
    if key is None or outlook.coat >= outlook.of or outlook.state not in ("drying", "unsure"):
        return None
    fits = _rounds(f"fit:{key}", told)
    if not fits:
        return None
    notice = _made(_numbered(f"not-fit:{key}", len(fits)), "not-fit", outlook, correction_words(outlook), now)
    return replace(notice, brief=f"wait with coat {outlook.coat + 1}")


def _through(outlook: Outlook, now: Millis) -> Notice | None:
    key = _coat(outlook)
    if outlook.state != "through" or key is None:
        return None
    return _made(f"through:{key}", "through", outlook, through_words(outlook), _reached(outlook, now))


def _unsure(outlook: Outlook, now: Millis) -> Notice | None:
    if outlook.state != "unsure" or outlook.dipped_at is None or outlook.coat < 1:
        return None
    since = outlook.dipped_at if outlook.unsure_since is None else outlook.unsure_since
    key = f"unsure:{outlook.tree_id}:{outlook.coat}:{since}"
    return replace(_made(key, "unsure", outlook, unsure_words(outlook), min(since, now)), brief="")


def _soon(outlook: Outlook, now: Millis) -> Notice | None:
    key, expected = _coat(outlook), outlook.fit_at.p50
    if outlook.state != "drying" or key is None or outlook.coat >= outlook.of or expected is None:
        return None
    if not 0 <= expected - now <= SOON_MS:
        return None
    return _made(f"soon:{key}", "soon", outlook, soon_words(outlook, now), now)


def _waiting(outlook: Outlook, now: Millis, telling: Telling) -> Notice | None:
    key, since = _coat(outlook), outlook.fit_at.p50
    if outlook.state != "fit" or key is None or outlook.coat >= outlook.of or since is None:
        return None
    if now - since <= telling.prewet_after_ms:
        return None
    return _made(f"waiting:{key}", "waiting", outlook, waiting_words(outlook, now), now)


def _tonight(outlook: Outlook, now: Millis) -> Notice | None:
    """One notice an evening: its key is the date, and a coat dipped after it says no more that day."""
    if outlook.swing_ahead is None:
        return None
    key = f"swing:{outlook.tree_id}:{outlook.swing_ahead.date}"
    return replace(_made(key, "swing", outlook, swing_words(outlook), now), brief="")


def _later(outlook: Outlook, put_off: PutOff | None, now: Millis) -> Notice | None:
    if put_off is None or put_off.until > now or outlook.dipped_at != put_off.dipped_at:
        return None
    words = later_words(outlook)
    return (
        None
        if words is None
        else _made(f"later:{outlook.tree_id}:{put_off.id}", "later", outlook, words, now)
    )


def _made(key: str, cause: str, outlook: Outlook, words: tuple[str, str], at: Millis) -> Notice:
    title, body = words
    return Notice(key, cause, outlook.tree_id, title, body, at, outlook.label, brief_of(outlook))


def _coat(outlook: Outlook) -> str | None:
    """The part of a key that names the coat that is on; None while nothing is that could have dried."""
    if outlook.dipped_at is None or outlook.coat < 1:
        return None
    return f"{outlook.tree_id}:{outlook.coat}:{outlook.dipped_at}"


def _reached(outlook: Outlook, now: Millis) -> Millis:
    reached = outlook.fit_at.p90 if outlook.fit_at.p90 is not None else outlook.fit_at.p50
    return now if reached is None else min(reached, now)


def _numbered(key: str, number: int) -> str:
    return key if number == 1 else f"{key}:{number}"


def _rounds(key: str, told: Mapping[str, Millis]) -> Sequence[str]:
    """The keys that were told of the first and the later rounds, in order."""
    names = [key] if key in told else []
    while names and f"{key}:{len(names) + 1}" in told:
        names.append(f"{key}:{len(names) + 1}")
    return names


def _clock(moment: Millis, telling: Telling) -> str:
    return f"{datetime.fromtimestamp(moment / SECOND_MS, telling.zone):%H:%M}"
