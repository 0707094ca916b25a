"""The mark of a state: a shape that is told apart without colour and from across the room, beside its word.

Drawn for this program: a bath for fit to dip, a drop for drying, a question for unsure, and so on.
"""

from markupsafe import Markup

from scheduler.forecast import State

_SHAPES: dict[State, str] = {
    "fit": '<path d="M12 3v9m-5-4 5 5 5-5M3 14v6h18v-6"/>',
    "drying": '<path d="M12 3c4 5 6 8 6 11a6 6 0 0 1-12 0c0-3 2-6 6-11z"/>'
    '<path class="full" d="M6 14h12a6 6 0 0 1-12 0z"/>',
    "unsure": '<path d="M7 8a5 5 0 1 1 7 5c-1.5.6-2 1.4-2 3m0 4v1"/>',
    "new": '<path d="M12 3v18M12 8 6 5m6 8 6-4m-6 9-6-4"/>',
    "resting": '<path d="M8 4v16m8-16v16"/>',
    "through": '<path d="M4 12a8 8 0 1 0 16 0a8 8 0 1 0-16 0"/>',
    "cleared": '<path d="M4 20h16M12 4v11m-4-4 4 4 4-4"/>',
    "scrapped": '<path d="M5 5l14 14M19 5 5 19"/>',
}


def mark_of(state: State) -> Markup:
    """The mark as a picture that says nothing to a screen reader: the word stands beside it.

    >>> mark_of("resting").startswith("<svg")
    True
    """
    return Markup(f'<svg class="mark" viewBox="0 0 24 24" aria-hidden="true">{_SHAPES[state]}</svg>')
