"""What the page of a tree is given."""

from dataclasses import dataclass

from markupsafe import Markup

from server.pages.contexts import DipForm, Frame, UndoLink, WhatIfPart, When
from server.pages.tree_chart import ChartPart
from server.pages.tree_notes import NoteRow


@dataclass(frozen=True)
class SpotRow:
    """One spot of a tree: its section, a piece of its line in the chart, what is left and till when."""

    picture: Markup
    sample: Markup
    name: str
    kind: str
    slowest: str
    left: str
    exact: str


@dataclass(frozen=True)
class CoatRow:
    """One coat that went on; `title` is its number and kind."""

    number: int
    title: str
    dipped: str
    fit: str
    told: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class HangAgain:
    """The way back for a tree that was scrapped: where to send it, and the hook it hung on."""

    action: str
    hook: str


@dataclass(frozen=True)
class TreePage:
    """One tree. `href` is its own address; `change` leads to moving, renaming and scrapping it."""

    frame: Frame
    href: str
    label: str
    hook: str
    place: str
    coat: str
    following: str
    state: str
    state_code: str
    when: When
    left: str
    hang_again: HangAgain | None
    judged: tuple[str, ...]
    dip: DipForm | None
    undo: UndoLink | None
    measure: str
    change: str
    asked: str
    picture: Markup
    picture_words: str
    spots: tuple[SpotRow, ...]
    what_if: WhatIfPart | None
    chart: ChartPart | None
    coats: tuple[CoatRow, ...]
    notes: tuple[NoteRow, ...]
    notes_more: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
