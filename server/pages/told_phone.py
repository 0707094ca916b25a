"""Phones that are told: how many, and which were and are no more."""

from dataclasses import dataclass

from sensors.clock import DAY_MS
from server.pages.frame import Shop
from server.pages.wording import clock_words
from server.parts import Parts
from server.store import phones, subscriptions
from server.store.phones import KnownPhone

DROPPED_SHOWN_MS = 30 * DAY_MS
"""So long it is said that a phone was dropped [ms of the wall]."""

MOST_DROPPED = 5


@dataclass(frozen=True)
class ToldPhones:
    """What the shop's page says of phones; `push_key` is what a browser subscribes with."""

    told: str
    dropped: tuple[str, ...]
    push_key: str


def told_phones(parts: Parts, shop: Shop) -> ToldPhones:
    """Phones as they stand now."""
    count = len(subscriptions.subscriptions(parts.engine))
    now = parts.wall_clock()
    dropped = phones.dropped_phones(parts.engine, now - DROPPED_SHOWN_MS, MOST_DROPPED)
    return ToldPhones(
        count_words(count), tuple(_dropped(one, now, shop) for one in dropped), parts.vapid_public_key
    )


def count_words(count: int) -> str:
    """How many phones are told.

    >>> count_words(0), count_words(1), count_words(3)
    ('No phone is told yet.', '1 phone is told.', '3 phones are told.')
    """
    if not count:
        return "No phone is told yet."
    return "1 phone is told." if count == 1 else f"{count} phones are told."


def _dropped(phone: KnownPhone, now: int, shop: Shop) -> str:
    since = clock_words(phone.dropped or now, now, shop.zone)
    return f"One phone is told no more since {since}: {phone.reason}."
