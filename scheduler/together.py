"""Which trees come fit together, so that one mixing of the pot and one pair of wet hands serve them all."""

from collections.abc import Iterable
from dataclasses import dataclass

from scheduler.forecast import Outlook
from sensors.clock import MINUTE_MS, Millis

CLOSE_MS = 20 * MINUTE_MS
"""Trees that are expected to come fit within this of the first one go on together [ms]: about what two or
three dips take; assumed."""

FAR_SHARE = 0.1
"""What is far off is known less exactly: together is then within this share of the time until it; assumed."""


@dataclass(frozen=True)
class Together:
    """Trees that come fit together, the first one first; `at` is when all of them are expected to be fit
    [shop ms]."""

    at: Millis
    tree_ids: tuple[int, ...]


def fit_together(outlooks: Iterable[Outlook], now: Millis) -> list[Together]:
    """The groups of two and more among the trees that dry for another coat, the soonest group first.

    By the medians of their forecasts: a group reaches from its first tree to `CLOSE_MS` later, or further
    where it is far off. Every tree is in one group at most. Left out are trees that are not drying, that
    never come fit in this air, and that were expected before `now` [shop ms]: those are fit any moment.
    """
    coming = sorted(
        (outlook.fit_at.p50, outlook.label, outlook.tree_id)
        for outlook in outlooks
        if outlook.state == "drying" and outlook.fit_at.p50 is not None and outlook.fit_at.p50 > now
    )
    groups: list[list[tuple[Millis, int]]] = []
    for moment, _, tree_id in coming:
        if groups and moment <= _reaches(groups[-1][0][0], now):
            groups[-1].append((moment, tree_id))
        else:
            groups.append([(moment, tree_id)])
    return [
        Together(group[-1][0], tuple(tree_id for _, tree_id in group)) for group in groups if len(group) > 1
    ]


def _reaches(first: Millis, now: Millis) -> Millis:
    return first + max(CLOSE_MS, round(FAR_SHARE * (first - now)))
