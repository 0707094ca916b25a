"""The words for times, shares and states: as a person in the shop says them, and never more exact than is
known."""

import math
from datetime import datetime, timedelta, tzinfo

from scheduler.forecast import Quantiles, State
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Millis

STATE_WORDS: dict[State, str] = {
    "new": "No coat yet",
    "drying": "Drying",
    "fit": "Fit to dip",
    "unsure": "Unsure",
    "resting": "Resting",
    "through": "Dry through",
    "cleared": "Cleared",
    "scrapped": "Scrapped",
}

NEAR_MS = 6 * HOUR_MS
"""Nearer than this a time is told as a duration ("about 40 min"), further off as a part of a day
("tonight")."""

_SHARES: tuple[tuple[float, str], ...] = (
    (1 / 20, "about a twentieth"),
    (1 / 10, "about a tenth"),
    (1 / 6, "about a sixth"),
    (1 / 5, "about a fifth"),
    (1 / 4, "about a quarter"),
    (1 / 3, "about a third"),
    (2 / 5, "about two fifths"),
    (1 / 2, "about half"),
    (3 / 5, "about three fifths"),
    (2 / 3, "about two thirds"),
    (3 / 4, "about three quarters"),
    (4 / 5, "about four fifths"),
    (9 / 10, "about nine tenths"),
    (1.0, "nearly all"),
)


def duration_words(millis: Millis) -> str:
    """A length of time in two significant figures at most; `static/shop.js` follows the same steps.

    >>> [duration_words(minutes * 60_000) for minutes in (1, 4, 13, 38)]
    ['a minute or two', 'about 5 min', 'about 15 min', 'about 40 min']
    >>> [duration_words(minutes * 60_000) for minutes in (56, 80, 200, 340)]
    ['about 1 h', 'about 1.5 h', 'about 3.5 h', 'about 6 h']
    >>> [duration_words(h * 3_600_000) for h in (14, 47, 50, 84, 300)]
    ['about 14 h', 'about 47 h', 'about 2 days', 'about 3.5 days', 'about 13 days']
    """
    amount, unit = _rounded(max(millis, 0))
    if not amount:
        return "a minute or two"
    return f"about {amount:g} {unit}"


def ago_words(minutes: int) -> str:
    """How long ago a person says that something was, as it stands on a form.

    >>> [ago_words(minutes) for minutes in (0, 20, 60, 120)]
    ['just now', '20 min ago', 'about an hour ago', 'about 2 h ago']
    """
    if minutes < 60:
        return f"{minutes} min ago" if minutes else "just now"
    return "about an hour ago" if minutes == 60 else f"about {minutes / 60:g} h ago"


def span_words(shortest: Millis, longest: Millis) -> str:
    """A length of time that is only known between two ends.

    >>> span_words(25 * 60_000, 70 * 60_000), span_words(2 * 3_600_000, 3 * 3_600_000)
    ('25 min to 1 h', '2-3 h')
    >>> span_words(38 * 60_000, 41 * 60_000)
    'about 40 min'
    """
    low, low_unit = _rounded(max(shortest, 0))
    high, high_unit = _rounded(max(longest, 0))
    if (low, low_unit) == (high, high_unit):
        return duration_words(longest)
    if not low:
        return f"up to {high:g} {high_unit}"
    return (
        f"{low:g}-{high:g} {high_unit}"
        if low_unit == high_unit
        else f"{low:g} {low_unit} to {high:g} {high_unit}"
    )


def around_words(soonest: Millis, middle: Millis, latest: Millis) -> str:
    """A length of time with what it may be: its middle, then the ends where they differ from it.

    >>> minute, hour = 60_000, 3_600_000
    >>> around_words(25 * minute, 40 * minute, 54 * minute), around_words(2 * hour, 3 * hour, 5 * hour)
    ('about 40 min, 25-50 min', 'about 3 h, 2-5 h')
    >>> around_words(39 * minute, 40 * minute, 41 * minute), around_words(minute, 40 * minute, 2 * hour)
    ('about 40 min', 'about 40 min, up to 2 h')
    """
    about, span = duration_words(middle), span_words(soonest, latest)
    return about if span.startswith("about") else f"{about}, {span}"


def _rounded(millis: Millis) -> tuple[float, str]:
    """Amount and unit; an amount of 0 is too short to tell."""
    minutes = millis / MINUTE_MS
    if minutes < 2.5:
        return 0.0, "min"
    if minutes < 27.5:
        return _to_step(minutes, 5), "min"
    if minutes < 55:
        return _to_step(minutes, 10), "min"
    hours = millis / HOUR_MS
    if hours < 3.75:
        return _to_step(hours, 0.5), "h"
    if hours < 47.5:
        return _to_step(hours, 1), "h"
    days = millis / DAY_MS
    return (_to_step(days, 0.5) if days < 9.75 else _to_step(days, 1)), "days"


def _to_step(value: float, step: float) -> float:
    return math.floor(value / step + 0.5) * step


def daypart_words(moment: Millis, now: Millis, zone: tzinfo) -> str:
    """The part of a day a time falls in, seen from now.

    >>> from zoneinfo import ZoneInfo
    >>> zone, morning = ZoneInfo("UTC"), 1772438400000  # Monday 2 March 2026, 08:00
    >>> [daypart_words(morning + h * 3_600_000, morning, zone) for h in (7, 11, 15, 20)]
    ['this afternoon', 'this evening', 'tonight', 'tonight']
    >>> [daypart_words(morning + h * 3_600_000, morning, zone) for h in (28, 55, 300)]
    ['tomorrow noon', 'Wednesday afternoon', 'in about 13 days']
    """
    then, today = _local(moment, zone), _local(now, zone)
    # The small hours belong to the night before, as they do to anyone who is still up.
    day = (then - timedelta(hours=5)).date()
    days_on = (day - (today - timedelta(hours=5)).date()).days
    if days_on > 6:
        return f"in {duration_words(moment - now)}"
    part = _part_of_day(then.hour)
    if days_on <= 0:
        return {"night": "tonight", "noon": "at noon"}.get(part, f"this {part}")
    return f"tomorrow {part}" if days_on == 1 else f"{day:%A} {part}"


def _part_of_day(hour: int) -> str:
    for before, part in ((5, "night"), (11, "morning"), (14, "noon"), (18, "afternoon"), (22, "evening")):
        if hour < before:
            return part
    return "night"


def until_words(when: Quantiles, now: Millis, zone: tzinfo) -> str:
    """How long until a time that is not known exactly, as it follows "fit" in a sentence.

    >>> from zoneinfo import ZoneInfo
    >>> zone, now, hour = ZoneInfo("UTC"), 1772438400000, 3_600_000
    >>> until_words(Quantiles(now + hour, now + hour, now + hour), now, zone)
    'in about 1 h'
    >>> until_words(Quantiles(now + 2 * hour, now + 2 * hour, now + 3 * hour), now, zone)
    'in about 2 h, 2-3 h'
    >>> until_words(Quantiles(now + 15 * hour, now + 16 * hour, now + 17 * hour), now, zone)
    'tonight'
    >>> until_words(Quantiles(now + 28 * hour, now + 40 * hour, None), now, zone)
    'not before tomorrow noon'
    >>> until_words(Quantiles(None, None, None), now, zone)
    'no end in sight in this air'
    >>> until_words(Quantiles(now, now, now), now, zone)
    'any moment now'
    """
    if when.p50 is None:
        return (
            "no end in sight in this air" if when.p10 is None else f"not before {_bare(when.p10, now, zone)}"
        )
    soonest, latest = when.p10 if when.p10 is not None else when.p50, when.p90
    if latest is None:
        return f"not before {_bare(soonest, now, zone)}"
    if latest - now < MINUTE_MS:
        return "any moment now"
    if latest - now < NEAR_MS:
        return f"in {around_words(soonest - now, when.p50 - now, latest - now)}"
    early, late = daypart_words(soonest, now, zone), daypart_words(latest, now, zone)
    return late if early == late else f"not before {early.removeprefix('in ').removeprefix('at ')}"


def _bare(moment: Millis, now: Millis, zone: tzinfo) -> str:
    return daypart_words(moment, now, zone).removeprefix("in ").removeprefix("at ")


def share_words(fraction: float) -> str:
    """A share as a person says it.

    >>> [share_words(fraction) for fraction in (0.01, 0.052, 0.34, 0.48)]
    ['almost nothing', 'about a twentieth', 'about a third', 'about half']
    >>> [share_words(fraction) for fraction in (0.97, 1.3)]
    ['nearly all', 'more than the dip brought']
    """
    if fraction < 0.035:
        return "almost nothing"
    if fraction > 1.1:
        return "more than the dip brought"
    return min(_SHARES, key=lambda share: abs(math.log(fraction / share[0])))[1]


def left_words(fraction: float, spot_name: str) -> str:
    """What is left of a dip's water at a spot.

    >>> left_words(0.34, "vent joint")
    'about a third is left at the vent joint'
    """
    return f"{share_words(fraction)} is left {at_words(spot_name)}"


def at_words(spot_name: str) -> str:
    """Where, in a sentence.

    >>> at_words("vent joint"), at_words("the cup's rim"), at_words("Under the gate")
    ('at the vent joint', "at the cup's rim", 'at “Under the gate”')
    """
    first = spot_name.split(" ", 1)[0]
    if first in ("the", "a", "an", "its"):
        return f"at {spot_name}"
    return f"at “{spot_name}”" if first[:1].isupper() else f"at the {spot_name}"


def sentence(words: str) -> str:
    """Words as a sentence: a capital first, a stop last; nothing stays nothing.

    >>> sentence("about half is left at the gate"), sentence("")
    ('About half is left at the gate.', '')
    """
    words = words.strip()
    return words[:1].upper() + words[1:] + ("" if words[-1:] in ("", ".", "?", "!") else ".")


def coat_words(coat: int, of: int, kind: str) -> str:
    """Which coat is on.

    >>> coat_words(4, 10, "backup"), coat_words(0, 10, "prime")
    ('coat 4 of 10, backup', '10 coats to go, prime first')
    """
    return f"coat {coat} of {of}, {kind}" if coat else f"{of} coats to go, {kind} first"


def clock_words(moment: Millis, now: Millis, zone: tzinfo) -> str:
    """When something happened: the time of day, and the day where it was another.

    >>> from zoneinfo import ZoneInfo
    >>> now = 1772438400000  # Monday 2 March 2026, 08:00 UTC
    >>> [clock_words(now - h * 3_600_000, now, ZoneInfo("UTC")) for h in (1, 10, 50, 400)]
    ['07:00', 'yesterday 22:00', 'Sat 06:00', '13 Feb 16:00']
    """
    then, today = _local(moment, zone), _local(now, zone)
    days_ago = (today.date() - then.date()).days
    if days_ago == 0:
        return f"{then:%H:%M}"
    if days_ago in (1, -1):
        return f"{'yesterday' if days_ago > 0 else 'tomorrow'} {then:%H:%M}"
    if abs(days_ago) < 7:
        return f"{then:%a %H:%M}"
    return f"{then.day} {then:%b %H:%M}"


def shop_time_words(now: Millis, zone: tzinfo) -> str:
    """The shop's day and time of day.

    >>> from zoneinfo import ZoneInfo
    >>> shop_time_words(1772438400000, ZoneInfo("Europe/Helsinki"))
    'Mon 2 Mar, 10:00'
    """
    local = _local(now, zone)
    return f"{local:%a} {local.day} {local:%b, %H:%M}"


def per_cent(fraction: float) -> str:
    """A fraction in per cent, two significant figures.

    >>> per_cent(0.3456), per_cent(0.0071), per_cent(1.0), per_cent(0.0001)
    ('35 %', '0.71 %', '100 %', 'under 0.1 %')
    """
    value = fraction * 100
    if value < 0.1:
        return "under 0.1 %"
    return f"{value:.2g} %" if abs(value) < 99.5 else f"{value:.0f} %"


def _local(moment: Millis, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(moment / SECOND_MS, zone)
