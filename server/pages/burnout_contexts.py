"""What the page and the sheet of the check before burnout are given: everything ready to be shown."""

from dataclasses import dataclass

from server.pages.contexts import Frame


@dataclass(frozen=True)
class ReasonLine:
    """One reason of the answer, and what measurement would tell more."""

    words: str
    measure: str


@dataclass(frozen=True)
class TickLine:
    """A question that a person ticks, whether it is ticked, and by whom and when."""

    key: str
    words: str
    ticked: bool
    told: str


@dataclass(frozen=True)
class PackedLine:
    """The question whether a hollow is packed with core material, and what was answered."""

    key: str
    words: str
    said: str


@dataclass(frozen=True)
class SpotLine:
    """The water of the whole shell at a spot."""

    name: str
    water: str


@dataclass(frozen=True)
class CoatLine:
    """A coat or a patch as it went: what it was, and lines of what is known of it."""

    what: str
    dipped: str
    air: str
    left: str
    extremes: str
    told: str
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class PatchForm:
    """The fields of a patch."""

    spots: tuple[tuple[str, str], ...]
    ago: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class PatchLine:
    """A patch that went on, and the way to take it back ("" where there is none)."""

    words: str
    undo: str


@dataclass(frozen=True)
class CastingLine:
    """What came of the casting, and the way to take that back."""

    words: str
    undo: str


@dataclass(frozen=True)
class CastingForm:
    """The form for what came of the casting."""

    action: str
    outcomes: tuple[tuple[str, str], ...]
    spots: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class BurnoutPage:
    """The check before burnout of one tree: on the screen with its forms, on paper without them."""

    frame: Frame
    label: str
    under: str
    back: str
    fault: str
    answer: str
    when: str
    reasons: tuple[ReasonLine, ...]
    cautions: tuple[str, ...]
    clearings: tuple[str, ...]
    packed: tuple[PackedLine, ...]
    ticks: tuple[TickLine, ...]
    answers: str
    clear: str
    clear_button: str
    why_wanted: str
    reopen: str
    patch: str
    patch_form: PatchForm
    patches: tuple[PatchLine, ...]
    casting: CastingForm | None
    castings: tuple[CastingLine, ...]
    spots: tuple[SpotLine, ...]
    figures: tuple[str, ...]
    assumed: tuple[str, ...]
    coats: tuple[CoatLine, ...]
