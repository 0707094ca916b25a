"""The words in which the rack, the wall and a round of dips speak of several trees at once."""

from collections.abc import Sequence
from datetime import tzinfo

from sensors.clock import MINUTE_MS, Millis
from server.pages.wording import NEAR_MS, clock_words, daypart_words

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def number_words(count: int) -> str:
    """A small number as it is said.

    >>> number_words(3), number_words(12)
    ('three', '12')
    """
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def together_words(who: str, moment: Millis, now: Millis, zone: tzinfo) -> str:
    """That trees come fit together: by the clock to ten minutes while it is near, then by the part of day.

    >>> from zoneinfo import ZoneInfo
    >>> now = 1772438400000  # Monday 2 March 2026, 08:00 UTC
    >>> together_words("These three", now + 124 * 60_000, now, ZoneInfo("UTC"))
    'These three come fit together about 10:00'
    >>> together_words("Heron and this one", now + 15 * 3_600_000, now, ZoneInfo("UTC"))
    'Heron and this one come fit together tonight'
    """
    return f"{who} come fit together {about_words(moment, now, zone)}"


def about_words(moment: Millis, now: Millis, zone: tzinfo) -> str:
    """About when something is, in the same words.

    >>> from zoneinfo import ZoneInfo
    >>> about_words(1772438400000 + 95 * 60_000, 1772438400000, ZoneInfo("UTC"))
    'about 09:40'
    """
    if moment - now >= NEAR_MS:
        return daypart_words(moment, now, zone)
    step = 10 * MINUTE_MS
    return f"about {clock_words((moment + step // 2) // step * step, now, zone)}"


def named(labels: Sequence[str], most: int = 3) -> str:
    """Names in a sentence, those beyond `most` counted.

    >>> named(["Heron"]), named(["Heron", "Teal"]), named(["Heron", "Teal", "Snipe", "Dunlin", "Avocet"])
    ('Heron', 'Heron and Teal', 'Heron, Teal, Snipe and 2 more')
    """
    if len(labels) > most + 1:
        return f"{', '.join(labels[:most])} and {len(labels) - most} more"
    return " and ".join(filter(None, (", ".join(labels[:-1]), *labels[-1:])))
