"""The words of a notice: plain, and claiming no more than the air record allows."""

from scheduler.forecast import Outlook
from sensors.clock import HOUR_MS, MINUTE_MS, Millis


def fit_words(outlook: Outlook) -> tuple[str, str]:
    """Title and body for a tree whose next coat may go on.

    >>> from scheduler.forecast import Quantiles
    >>> at = Quantiles(0, 0, 0)
    >>> heron = Outlook(1, "Heron", "A3", "rack", 4, 10, "backup", "fit", "joint:30", "vent joint", 0.04, at,
    ...                 "", 0, dipped_at=0, next_kind="backup")
    >>> fit_words(heron)
    ('Heron: fit to dip', 'Coat 5 of 10 (backup) may go on. Slowest was the vent joint, 30°.')
    """
    kind = f" ({outlook.next_kind})" if outlook.next_kind else ""
    body = f"Coat {outlook.coat + 1} of {outlook.of}{kind} may go on."
    spot = spot_words(outlook.slowest_spot, outlook.slowest_name)
    if spot:
        body += f" Slowest was {spot}."
    return f"{outlook.label}: fit to dip", body


def correction_words(outlook: Outlook) -> tuple[str, str]:
    """Title and body where a tree was called fit and, by what is known since, was not.

    >>> from scheduler.forecast import NEVER
    >>> heron = Outlook(1, "Heron", "A3", "rack", 4, 10, "backup", "drying", None, None, 0.2, NEVER, "", 0)
    >>> correction_words(heron)[1]
    'It was called fit; by what is known since, coat 4 of 10 was not. Wait with coat 5.'
    """
    body = (
        f"It was called fit; by what is known since, coat {outlook.coat} of {outlook.of} was not. "
        f"Wait with coat {outlook.coat + 1}."
    )
    minutes = None if outlook.fit_at.p90 is None else round((outlook.fit_at.p90 - outlook.as_of) / MINUTE_MS)
    if minutes is not None and minutes > 0:
        after = f"{minutes} min" if minutes < 120 else f"{round(minutes / 60)} h"
        body += f" Expected about {after} after the latest air that is known."
    return f"{outlook.label}: not fit after all", body


def unsure_words(outlook: Outlook) -> tuple[str, str]:
    """Title and body for a tree that cannot be judged: the judge's own reason, and what waits on it."""
    reason = outlook.reason.strip() or "The air record allows no verdict."
    if not reason.endswith((".", "?")):
        reason += "."
    body = f"{reason} Coat {outlook.coat} of {outlook.of} is not judged until this is settled."
    return f"{outlook.label}: unsure", body


def through_words(outlook: Outlook) -> tuple[str, str]:
    """Title and body for a tree that is dry through after its last coat.

    >>> from scheduler.forecast import NEVER
    >>> teal = Outlook(6, "Teal", "B1", "rack", 10, 10, "seal", "through", None, None, None, NEVER, "", 0)
    >>> through_words(teal)
    ('Teal: dry through', 'By its air record, after coat 10 of 10. To be checked before burnout.')
    """
    return (
        f"{outlook.label}: dry through",
        f"By its air record, after coat {outlook.coat} of {outlook.of}. To be checked before burnout.",
    )


def swing_words(outlook: Outlook) -> tuple[str, str]:
    """Title and body for a tree whose wax is expected to swing tonight; nothing where none is.

    >>> from scheduler.forecast import NEVER, SwingAhead
    >>> snipe = Outlook(2, "Snipe", "A2", "rack", 2, 10, "prime", "fit", None, None, None, NEVER, "", 0,
    ...                 swing_ahead=SwingAhead("2026-03-02", "The wax warms by about 6 K."))
    >>> swing_words(snipe)
    ('Snipe: the wax will swing tonight', 'The wax warms by about 6 K. Coat 2 of 10 is on.')
    """
    words = outlook.swing_ahead.words if outlook.swing_ahead else ""
    return (
        f"{outlook.label}: the wax will swing tonight",
        f"{words} Coat {outlook.coat} of {outlook.of} is on.".lstrip(),
    )


def soon_words(outlook: Outlook, now: Millis) -> tuple[str, str]:
    """Title and body for a tree that is expected to be fit before long."""
    expected = outlook.fit_at.p50
    minutes = max(round(((now if expected is None else expected) - now) / MINUTE_MS / 5) * 5, 5)
    kind = f" ({outlook.next_kind})" if outlook.next_kind else ""
    return (
        f"{outlook.label}: fit soon",
        f"Coat {outlook.coat + 1} of {outlook.of}{kind} may go on in about {minutes} min, "
        "if the air goes on as it is.",
    )


def waiting_words(outlook: Outlook, now: Millis) -> tuple[str, str]:
    """Title and body for a coat that has been dry for long."""
    since = outlook.fit_at.p50
    hours = 0.0 if since is None else (now - since) / HOUR_MS
    long = f"{hours:.0f} h" if hours < 48.0 else f"{round(hours / 12.0) / 2.0:g} days"
    return (
        f"{outlook.label}: pre-wet it before the next dip",
        f"Coat {outlook.coat} of {outlook.of} has been dry for {long}; dry shell drinks the new slurry.",
    )


def later_words(outlook: Outlook) -> tuple[str, str] | None:
    """Title and body for a tree that was put off; None where there is nothing left to be reminded of."""
    match outlook.state:
        case "fit":
            title, body = fit_words(outlook)
        case "through":
            title, body = through_words(outlook)
        case "unsure":
            title, body = unsure_words(outlook)
        case _:
            return None
    return title.replace(": ", ": still ", 1), f"You put it off. {body}"


def brief_of(outlook: Outlook) -> str:
    """The coat that is to go on, in a few words; the last one where none is.

    >>> from scheduler.forecast import NEVER
    >>> heron = Outlook(1, "Heron", "A3", "rack", 4, 10, "backup", "fit", None, None, 0.04, NEVER, "", 0,
    ...                 next_kind="backup")
    >>> brief_of(heron)
    'coat 5 of 10, backup'
    """
    if outlook.next_kind is None:
        return f"coat {outlook.coat} of {outlook.of}"
    return f"coat {outlook.coat + 1} of {outlook.of}, {outlook.next_kind}"


def spot_words(code: str | None, name: str | None) -> str:
    """Name a spot with its measure; "" where there is no name.

    >>> spot_words("joint:30", "the vent joint"), spot_words("pocket:12x40", "pour cup")
    ('the vent joint, 30°', 'the pour cup, 12 mm wide and 40 mm deep')
    >>> spot_words("cavity:60x0.2,blown", "belly")
    'the belly, mouth 60 mm wide'
    >>> spot_words("face", "face"), spot_words("joint:30", None)
    ('the face', '')
    """
    if not name or not name.strip():
        return ""
    bare = name.strip().removeprefix("the ").strip()
    measure = _measure(code or "")
    return f"the {bare}, {measure}" if measure else f"the {bare}"


def _measure(code: str) -> str:
    kind, _, figures = code.partition(":")
    if kind == "joint" and figures:
        return f"{figures}°"
    if kind == "pocket" and "x" in figures:
        mouth, _, depth = figures.partition("x")
        return f"{mouth} mm wide and {depth} mm deep"
    if kind == "cavity" and "x" in figures:
        return f"mouth {figures.partition('x')[0]} mm wide"
    return ""
