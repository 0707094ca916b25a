"""Who is next: the order in which a caster with one pair of hands looks at the rack."""

from collections.abc import Iterable

from scheduler.forecast import Outlook, State
from sensors.clock import Millis

_RANK: dict[State, int] = {
    "fit": 0,
    "drying": 1,
    "new": 2,
    "unsure": 3,
    "resting": 4,
    "through": 5,
    "cleared": 6,
    "scrapped": 7,
}

_NEVER = float("inf")


def next_first(outlooks: Iterable[Outlook], now: Millis) -> list[Outlook]:
    """Put the trees in the order in which they are to be dipped next.

    First those fit to dip, the one that has waited longest before the others; then those that dry, by the
    median of their forecast, with those that never come fit in this air last; then trees with no coat,
    unsure ones, resting ones and those that are dry through. A forecast that has passed means "any moment
    now": among those, the one with the least water remaining comes first. What is still equal goes by
    label, then by id, so that the same rack always comes in the same order.

    `now` is shop time [ms].
    """
    return sorted(outlooks, key=lambda outlook: _place_in_line(outlook, now))


def _place_in_line(outlook: Outlook, now: Millis) -> tuple[int, float, float, str, int]:
    expected = outlook.fit_at.p50
    moment: float = _NEVER if expected is None else expected
    remaining = 0.0
    if outlook.state == "drying":
        moment = max(moment, now)
        remaining = _NEVER if outlook.remaining is None else outlook.remaining
    elif outlook.state in ("new", "unsure"):
        moment = 0.0
    return _RANK[outlook.state], moment, remaining, outlook.label, outlook.tree_id
