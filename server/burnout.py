"""Is a shell dry enough to burn out? The answer and every reason for it, from a record of values. Pure.

It answers for dryness alone. Cracks, thin places, vents and the furnace it cannot see: a person is asked.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from scheduler.forecast import NEVER, Quantiles, State
from sensors.clock import HOUR_MS, Millis

Answer = Literal["through", "not-yet", "cannot-say"]

QUESTIONS: dict[str, str] = {
    "rim": "The cup’s rim is cut open",
    "vents": "The vents are open",
    "cracks": "No cracks are seen",
    "furnace": "The furnace is hot before the shell goes in",
    "cup-down": "It goes in with the cup down",
    "patches": "Patches, if there are any, are dry",
}
"""What the tool cannot see, as a person ticks it. Common practice in lost-wax shell work."""

PACKED = "packed:"
"""Before a spot's code, the question whether that hollow is packed with core material."""

STILL_FALLING_KG = 0.02
"""A scale that fell by more than this between two weighings shows water leaving [kg]: four times what a
reading of a bench scale may be off by (assumed)."""

APART_MS = 6 * HOUR_MS
"""Weighings nearer to each other than this say nothing of a dry shell [ms] (assumed)."""


@dataclass(frozen=True)
class SpotWater:
    """The water of the whole shell at a spot, above equilibrium at 60 %RH, over its dry mass [-].

    `over_dry` is what as many of the members as it takes stay within, None where it is not known; `limit`
    what is called dry; `packed`: of a hollow, whether it is packed with core, None while nobody said; False
    of all other spots.
    """

    code: str
    name: str
    over_dry: float | None
    mean: float | None
    limit: float
    packed: bool | None = False


@dataclass(frozen=True)
class Weighed:
    """What a scale showed [kg], and when."""

    at: Millis
    kg: float


@dataclass(frozen=True)
class ShellRecord:
    """What is known of a shell when it is checked.

    `last_at` is when the latest coat or patch went on; `rested` of `rest` [ms] it has rested, dry through in
    fit air; `dry_at` is when it was or will be dry through and rested; `weighings` since the latest coat or
    patch; `air_reason` says what is the matter with the air where the state is unsure; `remarks` what in its
    history bears on the answer, without deciding it.
    """

    coats_on: int
    coats_in_all: int
    state: State | None
    spots: tuple[SpotWater, ...]
    last_at: Millis | None = None
    rested: Millis = 0
    rest: Millis = 0
    dry_at: Quantiles = NEVER
    weighings: tuple[Weighed, ...] = ()
    air_reason: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Reason:
    """One reason of an answer, and which measurement would tell more ("" for none)."""

    words: str
    measure: str = ""


@dataclass(frozen=True)
class Finding:
    """The answer with every reason, and when it is expected to be dry through where that is not now."""

    answer: Answer
    reasons: tuple[Reason, ...]
    dry_at: Quantiles = NEVER


def find(record: ShellRecord) -> Finding:
    """The answer with every reason: `decided`, and the remarks of its history."""
    found = decided(record)
    return replace(found, reasons=(*found.reasons, *(Reason(words) for words in record.remarks)))


def decided(record: ShellRecord) -> Finding:
    """The answer. A hollow that is packed with core material is always "cannot say".

    Else a shell that lacks coats is "not yet"; what the record cannot tell, a hollow nobody told of among it,
    is "cannot say"; then the model says whether all water is out and the rest is over.
    """
    packed = [_packed(spot) for spot in record.spots if spot.packed]
    if record.coats_on < record.coats_in_all:
        on = f"{record.coats_on} of {record.coats_in_all} coats are on."
        return Finding("cannot-say" if packed else "not-yet", (*packed, Reason(on)), record.dry_at)
    doubts = [*packed, *(_untold(spot) for spot in record.spots if spot.packed is None), *_unknown(record)]
    waits = _waits(record)
    if doubts:
        return Finding("cannot-say", (*doubts, *waits), record.dry_at)
    if record.state != "through":
        return Finding("not-yet", tuple(waits), record.dry_at)
    falling = _falling(record.weighings)
    if falling:
        return Finding("cannot-say", (falling,), record.dry_at)
    return Finding("through", _through(record), record.dry_at)


def why_not_cleared(finding: Finding, unticked: Sequence[str], why: str) -> str:
    """Why a person may not clear it like this; "" where they may.

    Over another answer than "dry through", or with questions left open, only with a written reason.

    >>> why_not_cleared(Finding("not-yet", ()), (), "")
    'the check says “not yet”: clear it over that only with a written reason'
    >>> why_not_cleared(Finding("not-yet", ()), (), "witness bar is dry"), why_not_cleared(
    ...     Finding("through", ()), (), "")
    ('', '')
    """
    if why.strip():
        return ""
    if finding.answer != "through":
        said = ANSWER_WORDS[finding.answer].lower()
        return f"the check says “{said}”: clear it over that only with a written reason"
    if unticked:
        open_ones = "; ".join(QUESTIONS[key] for key in unticked)
        return f"not ticked: {open_ones}. Clear it without only with a written reason"
    return ""


ANSWER_WORDS: dict[Answer, str] = {
    "through": "Dry through",
    "not-yet": "Not yet",
    "cannot-say": "Cannot say",
}


def _packed(spot: SpotWater) -> Reason:
    return Reason(
        f"The {spot.name} is packed with core material: nothing outside tells how damp its middle is.",
        "A thermometer or a humidity probe in the core, or a core of the same mix and size, dried beside it "
        "and broken open; a mass that stands still for days tells of most of its water, not of all.",
    )


def _untold(spot: SpotWater) -> Reason:
    return Reason(
        f"Nobody has said whether the {spot.name} is packed with core material.", "Answer that below."
    )


def _unknown(record: ShellRecord) -> list[Reason]:
    if record.state in ("resting", "through"):
        return []
    words = record.air_reason or "It has not been judged since its last coat."
    return [
        Reason(
            words,
            "Readings of the air where it hangs; or weigh it twice, a day apart: while it loses mass, "
            "water leaves.",
        )
    ]


def _waits(record: ShellRecord) -> list[Reason]:
    """What is still to come, spot by spot, and the rest."""
    if record.state == "through":
        return []
    wet = [spot for spot in record.spots if spot.over_dry is not None and spot.over_dry > spot.limit]
    found = [
        Reason(
            f"The shell at the {spot.name} holds {100.0 * (spot.over_dry or 0.0):.2g} % of its dry mass "
            f"as water beyond what 60 %RH leaves in it; the limit is {100.0 * spot.limit:.2g} %."
        )
        for spot in wet
    ]
    if record.rested < record.rest and record.state == "resting":
        found.append(
            Reason(
                f"It has rested {_hours(record.rested)} of {_hours(record.rest)} h, "
                "counted only while it was dry and the air was known and fit."
            )
        )
    if wet and record.dry_at.p50 is None:
        found.append(
            Reason(
                "No end is in sight in this air.",
                f"Touch the {wet[0].name}, or weigh the tree now and in some hours: "
                "it narrows what is believed.",
            )
        )
    return found


def _falling(weighings: Sequence[Weighed]) -> Reason | None:
    if not weighings:
        return None
    latest = weighings[-1]
    before = [one for one in weighings if one.at <= latest.at - APART_MS]
    if not before or before[-1].kg - latest.kg <= STILL_FALLING_KG:
        return None
    lost_g, hours = 1000.0 * (before[-1].kg - latest.kg), (latest.at - before[-1].at) / HOUR_MS
    return Reason(
        f"By the model it is dry through, but the scale fell by {lost_g:.0f} g in the {hours:.0f} h before "
        "the latest weighing: water was still leaving.",
        "Weigh it again in a day.",
    )


def _through(record: ShellRecord) -> tuple[Reason, ...]:
    known = [spot for spot in record.spots if spot.over_dry is not None]
    found = []
    if known:
        worst = max(known, key=lambda spot: spot.over_dry or 0.0)
        found.append(
            Reason(
                f"No spot holds more than {100.0 * (worst.over_dry or 0.0):.2g} % of its dry mass as water "
                f"beyond what 60 %RH leaves in it (the {worst.name}); "
                f"the limit is {100.0 * worst.limit:.2g} %."
            )
        )
    found.append(
        Reason(f"It rested {_hours(record.rested)} h in fit air; {_hours(record.rest)} h were asked.")
    )
    return tuple(found)


def _hours(millis: Millis) -> str:
    return f"{millis / HOUR_MS:.0f}"
