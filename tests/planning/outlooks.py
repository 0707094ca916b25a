"""Made-up outlooks: one to start from, and a strategy for any."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import time
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from scheduler.due import due_of
from scheduler.forecast import Notice, Outlook, Quantiles, State
from scheduler.quiet import QuietHours
from scheduler.telling import Telling
from sensors.clock import HOUR_MS, Millis

NOW: Millis = 1_772_431_200_000
"""2026-03-02T06:00Z, a Monday morning."""

STATES: tuple[State, ...] = (
    "new",
    "drying",
    "fit",
    "resting",
    "through",
    "unsure",
    "cleared",
    "scrapped",
)

HERON = Outlook(
    tree_id=1,
    label="Heron",
    hook="A3",
    place="rack-room",
    coat=4,
    of=10,
    kind="backup",
    state="drying",
    slowest_spot="joint:30",
    slowest_name="vent joint",
    remaining=0.34,
    fit_at=Quantiles(NOW + HOUR_MS, NOW + HOUR_MS, NOW + HOUR_MS),
    reason="About a third is left at the vent joint.",
    as_of=NOW,
    dipped_at=NOW - 3 * HOUR_MS,
    next_kind="backup",
)


def sure(moment: Millis | None) -> Quantiles:
    return Quantiles(moment, moment, moment)


AT_ANY_HOUR = Telling(quiet=QuietHours(time(0), time(0), ZoneInfo("UTC")), gather_ms=0)
"""No quiet hours, and nothing is gathered."""


def due(rack: Iterable[Outlook], now: Millis, but: Collection[str] = ("soon", "waiting")) -> list[Notice]:
    """What is due of trees of which nothing was told yet, by tree; some causes left out."""
    trees = sorted(rack, key=lambda one: one.tree_id)
    notices = [notice for tree in trees for notice in due_of(tree, now, Telling(), {})]
    return [notice for notice in notices if notice.cause not in but]


def outlook(tree_id: int, label: str, state: State, fit_at: Millis | None = None) -> Outlook:
    return replace(HERON, tree_id=tree_id, label=label, state=state, fit_at=sure(fit_at))


_moments = st.none() | st.integers(NOW - 48 * HOUR_MS, NOW + 48 * HOUR_MS)


@st.composite
def _outlooks(draw: st.DrawFn, tree_id: int) -> Outlook:
    of = draw(st.integers(1, 12))
    coat = draw(st.integers(0, of))
    dipped = NOW - draw(st.integers(0, 72)) * HOUR_MS
    return replace(
        HERON,
        tree_id=tree_id,
        label=draw(st.sampled_from(["Avocet", "Bittern", "Dunlin", "Heron", "Snipe", "Teal"])),
        state=draw(st.sampled_from(STATES)),
        coat=coat,
        of=of,
        remaining=draw(st.none() | st.floats(0.0, 1.5)),
        fit_at=Quantiles(draw(_moments), draw(_moments), draw(_moments)),
        dipped_at=dipped if coat else None,
        next_kind=draw(st.sampled_from([None, "prime", "backup", "seal"])),
        unsure_since=draw(st.none() | st.integers(NOW - 24 * HOUR_MS, NOW)),
        reason=draw(st.sampled_from(["", "No air is known since 02:10.", "a gap in the record"])),
    )


@st.composite
def racks(draw: st.DrawFn) -> list[Outlook]:
    """Up to eight trees with ids of their own, in any order."""
    ids = draw(st.lists(st.integers(1, 40), max_size=8, unique=True))
    return [draw(_outlooks(tree_id)) for tree_id in ids]
