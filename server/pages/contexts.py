"""What each page is given: one dataclass a page, everything in it ready to be shown. Templates compute
nothing."""

from dataclasses import dataclass
from typing import Literal

from sensors.clock import Millis

Here = Literal["rack", "next", "air", "shop", ""]


@dataclass(frozen=True)
class Frame:
    """What stands around every page. `as_of` is shop time [ms]; `clock_rate` is shop seconds in a second of
    the wall; `trouble` is what a person must know on whichever page they are."""

    title: str
    shop: str
    here: Here
    shop_time: str
    as_of: Millis
    clock_rate: float
    trouble: str = ""


@dataclass(frozen=True)
class When:
    """A time in words: `lead` and `words` make the phrase.

    Where `way` is "until" or "since" the page may count on by itself, from `soonest`, `middle` and `latest`
    [shop ms].
    """

    lead: str = ""
    words: str = ""
    way: str = ""
    soonest: Millis = 0
    middle: Millis = 0
    latest: Millis = 0


@dataclass(frozen=True)
class WhatIfRow:
    """One thing that could be done, and what it saves or why it is not tried."""

    what: str
    saves: str
    more: str


@dataclass(frozen=True)
class WhatIfPart:
    """What would save time: a link to ask by (`href`), or the answer; `nothing` says why there is none."""

    href: str
    nothing: str = ""
    rows: tuple[WhatIfRow, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class DipForm:
    """What is asked of a person who dipped; `key` makes sending it twice one dip."""

    action: str
    key: str
    button: str
    pause: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class UndoLink:
    """The way to take the latest dip back."""

    href: str
    words: str


@dataclass(frozen=True)
class MeasuredRow:
    """One measurement: what was found and when, whether it counts, and the way to take it back."""

    what: str
    when: str
    doubt: str
    undo: str


@dataclass(frozen=True)
class MeasurePage:
    """What was measured on a tree, what its place learned from it, and the forms to say more."""

    frame: Frame
    label: str
    place: str
    back: str
    fault: str
    mass_sign: str
    temp_sign: str
    asked: str
    action: str
    key: str
    pause: tuple[tuple[int, str], ...]
    places: tuple[tuple[str, str], ...]
    measured: tuple[MeasuredRow, ...]
    learned: tuple[str, ...]
    evidence: str
    forget: str
    from_tree: int


@dataclass(frozen=True)
class QuestionPage:
    """A dip that looks like a mistake: the question, and the dip as it was said, to be sent again."""

    frame: Frame
    question: str
    action: str
    fields: tuple[tuple[str, str], ...]
    yes: str
    back: str


@dataclass(frozen=True)
class UndoPage:
    """Asks before something is taken back or off; `then` says what becomes of it."""

    frame: Frame
    question: str
    then: str
    action: str
    yes: str
    back: str


@dataclass(frozen=True)
class ProblemPage:
    """Something could not be done: what happened, what was kept, and where to go on."""

    frame: Frame
    what: str
    kept: str
    back: str
