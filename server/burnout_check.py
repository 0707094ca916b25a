"""The check before burnout as one value: a tree's whole history, its figures, and the answer."""

from dataclasses import dataclass, field

from pydantic import TypeAdapter

from sensors.clock import Millis
from server.burnout import Finding, SpotWater, Weighed
from server.store.clearings import Patch
from server.verdicts import CoatVerdict


@dataclass(frozen=True)
class CoatWent:
    """A coat or a patch as it went: `until` when the next one came [ms], None while none has.

    `kept_at` is when its verdict was written down [ms], None where it is as judged now; `later` says what is
    judged of it now, where that is another thing.
    """

    verdict: CoatVerdict
    until: Millis | None
    prewet: bool = False
    partial: bool = False
    kept_at: Millis | None = None
    later: str = ""


@dataclass(frozen=True)
class Answer:
    """A question of the check with its newest answer; `yes` None while nobody gave one."""

    key: str
    words: str
    yes: bool | None = None
    who: str = ""
    at: Millis | None = None


@dataclass(frozen=True)
class ShellFigures:
    """Thickness [mm] and mass [kg] of the dry shell, by the model and by the scale; its water by the model.

    None where a figure that it needs is missing; `missing` says which.
    """

    thickness_mm: float
    mass_kg: float | None = None
    water_kg: float | None = None
    scale_kg: float | None = None
    scale_mm: float | None = None
    missing: str = ""


@dataclass(frozen=True)
class BurnoutCheck:
    """Everything that bears on whether a tree may be burnt out, at `as_of` [shop ms].

    `ticks` are the questions of what the tool cannot see; `packed` those of its hollows.
    """

    tree_id: int
    label: str
    hook: str
    place: str
    recipe: str
    coats_on: int
    coats_in_all: int
    as_of: Millis
    finding: Finding
    spots: tuple[SpotWater, ...]
    coats: tuple[CoatWent, ...]
    figures: ShellFigures
    last_at: Millis | None = None
    rested: Millis = 0
    rest: Millis = 0
    weighings: tuple[Weighed, ...] = ()
    patches: tuple[Patch, ...] = ()
    ticks: tuple[Answer, ...] = ()
    packed: tuple[Answer, ...] = ()
    notes: tuple[str, ...] = field(default=())


SHEET = TypeAdapter(BurnoutCheck)
"""Writes a check as JSON and reads it again: how it is kept when a person clears the tree."""
