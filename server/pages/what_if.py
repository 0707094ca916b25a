"""The part of a tree's page that says what would save time, when it was asked for."""

from sensors.clock import SECOND_MS
from server.drying.whatif import Change, Spread, WhatIf
from server.pages.contexts import WhatIfPart, WhatIfRow
from server.pages.wording import duration_words, span_words

NOTHING_MS = 150 * SECOND_MS
"""What saves less than this saves nothing to speak of [ms]."""


def what_if_part(tree_id: int, found: WhatIf | None, asked: bool) -> WhatIfPart:
    """The part: a link to ask by, or the answer."""
    href = f"/trees/{tree_id}?what_if=yes#what-if"
    if not asked:
        return WhatIfPart(href)
    if found is None:
        return WhatIfPart("", "Nothing can be compared while the air is not known.")
    rows = tuple(what_if_row(change) for change in found.changes)
    return WhatIfPart("", "", rows, found.notes)


def what_if_row(change: Change) -> WhatIfRow:
    """One change in words.

    >>> hour = Spread(3600.0, 3600.0, 3600.0)
    >>> what_if_row(Change("fan", "a fan", "", Spread(3600.0, 7200.0, 10800.0), hour))
    WhatIfRow(what='a fan', saves='saves about 1 h', more='fit after 1-3 h')
    >>> what_if_row(Change("fan", "a fan", "Never on a prime coat."))
    WhatIfRow(what='a fan', saves='not tried', more='Never on a prime coat.')
    >>> what_if_row(Change("fan", "a fan", "", hour, Spread(-7200.0, -3600.0, 0.0))).saves
    'takes longer'
    """
    if change.refused:
        return WhatIfRow(change.words, "not tried", change.refused)
    after = _words(change.fit_after)
    if change.fit_after.p50 is None:
        return WhatIfRow(change.words, "no end in sight with it either", "")
    return WhatIfRow(change.words, _saves(change.saved), f"fit after {after}")


def _saves(saved: Spread) -> str:
    """What a change saves, in words.

    >>> _saves(Spread(0.0, 0.0, 3600.0)), _saves(Spread(-3600.0, 0.0, 0.0))
    ('saves up to 1 h', 'saves nothing, and may take longer')
    """
    if saved.p50 is None:
        return "comes to an end only so"
    low, middle = (0.0 if value is None else value * SECOND_MS for value in (saved.p10, saved.p50))
    if saved.p90 is None or saved.p90 * SECOND_MS > NOTHING_MS:
        return f"saves {_words(saved)}"
    if middle < -NOTHING_MS:
        return "takes longer"
    return "saves nothing, and may take longer" if low < -NOTHING_MS else "saves nothing to speak of"


def _words(spread: Spread) -> str:
    low, high = (None if value is None else round(value * SECOND_MS) for value in (spread.p10, spread.p90))
    if low is None:
        return "no known time"
    return f"{duration_words(low)} or more" if high is None else span_words(low, high)
