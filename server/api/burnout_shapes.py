"""The check before burnout as it goes over the wire."""

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, Field

from scheduler.forecast import Quantiles
from server.api.history_shapes import CoatWentShape, coat_shape
from server.api.schemas import FitAt, Moment, Name, Note, SpotCode, Wire, maybe_datetime, to_datetime
from server.burnout import Answer
from server.burnout_check import Answer as Answered
from server.burnout_check import BurnoutCheck
from server.store.castings import Casting, Outcome
from server.store.clearings import Clearing

Figure = Annotated[float, Field(allow_inf_nan=False)]


class ReasonShape(BaseModel):
    """One reason of the answer, and the measurement that would tell more, if any."""

    words: str
    measure: str


class SpotWaterShape(BaseModel):
    """Water of the whole shell at a spot above equilibrium at 60 %RH, over its dry mass [-]."""

    spot: str
    name: str
    over_dry: float | None
    limit: float
    packed: bool | None


class QuestionShape(BaseModel):
    """A question with its newest answer; `yes` is null while nobody answered."""

    key: str
    words: str
    yes: bool | None
    who: str
    at: datetime | None


class FiguresShape(BaseModel):
    """Thickness [mm] and mass [kg] of the dry shell by the model and by the scale; null where unknown."""

    thickness_mm: float
    mass_kg: float | None
    water_kg: float | None
    scale_kg: float | None
    scale_mm: float | None
    missing: str


class WeighedShape(BaseModel):
    """What a scale showed."""

    at: datetime
    kg: float


class PatchShape(BaseModel):
    """A patch over the last coat."""

    id: int
    spot: str
    thickness_mm: float
    size_mm: float | None
    where: str
    who: str
    at: datetime


class ClearingShape(BaseModel):
    """A person's clearing: over which answer, and why; who took it back, if anybody."""

    id: int
    at: datetime
    who: str
    why: str
    answer: str
    reopened_at: datetime | None
    reopened_by: str
    reopened_why: str


class CheckAnswer(BaseModel):
    """The whole check. `as_of` is when it was made: of a cleared tree, when it was cleared."""

    id: int
    label: str
    hook: str
    place: str
    recipe: str
    coat: int
    of: int
    as_of: datetime
    answer: Answer
    reasons: list[ReasonShape]
    dry_at: FitAt
    rested_h: float
    rest_h: float
    spots: list[SpotWaterShape]
    figures: FiguresShape
    weighings: list[WeighedShape]
    questions: list[QuestionShape]
    patches: list[PatchShape]
    coats: list[CoatWentShape]
    assumed: list[str]
    clearings: list[ClearingShape]
    cautions: list[str]


class AnswersRequest(Wire):
    """Answers by the keys of their questions."""

    who: Name
    answers: Annotated[dict[Annotated[str, Field(max_length=60)], bool], Field(min_length=1, max_length=40)]


class ClearRequest(Wire):
    """Who clears it; `why` where the check does not say "dry through"; `ticked` answers with yes as well."""

    who: Name
    why: Note = ""
    ticked: tuple[Annotated[str, Field(max_length=60)], ...] = Field(default=(), max_length=40)


class PatchSaid(Wire):
    """A patch: at which spot, how thick and wide [mm], where in words, when its stucco was on."""

    spot: SpotCode
    thickness_mm: Figure = 2.0
    size_mm: Figure | None = None
    where: Note = ""
    at: Moment | None = None


class PatchRequest(PatchSaid):
    """A patch, and who put it on."""

    who: Name


class ReopenRequest(Wire):
    """Who takes the clearing back, and why; `patch` where that is for a patch."""

    who: Name
    why: Annotated[Note, Field(min_length=1)]
    patch: PatchSaid | None = None


class CastingRequest(Wire):
    """What came of a casting; `spot` is one of the tree's, or nothing."""

    outcome: Outcome
    who: Name
    spot: Annotated[str, Field(max_length=40)] = ""
    where: Note = ""
    note: Note = ""


class CastingShape(BaseModel):
    """What came of a casting, as it is kept."""

    id: int
    said_at: datetime
    outcome: str
    who: str
    spot: str
    where: str
    note: str
    undone_at: datetime | None


def casting_shape(one: Casting) -> CastingShape:
    """What came of a casting, as it goes over the wire."""
    return CastingShape(
        id=one.id,
        said_at=to_datetime(one.said_at),
        outcome=one.outcome,
        who=one.who,
        spot=one.spot,
        where=one.where,
        note=one.note,
        undone_at=maybe_datetime(one.undone_at),
    )


def clearing_shape(one: Clearing) -> ClearingShape:
    """A clearing as it goes over the wire."""
    return ClearingShape(
        id=one.id,
        at=to_datetime(one.at),
        who=one.who,
        why=one.why,
        answer=one.answer,
        reopened_at=maybe_datetime(one.reopened_at),
        reopened_by=one.reopened_by,
        reopened_why=one.reopened_why,
    )


def check_answer(check: BurnoutCheck, clearings: Sequence[Clearing], cautions: Sequence[str]) -> CheckAnswer:
    """A check as it goes over the wire."""
    figures = check.figures
    return CheckAnswer(
        id=check.tree_id,
        label=check.label,
        hook=check.hook,
        place=check.place,
        recipe=check.recipe,
        coat=check.coats_on,
        of=check.coats_in_all,
        as_of=to_datetime(check.as_of),
        answer=check.finding.answer,
        reasons=[ReasonShape(words=one.words, measure=one.measure) for one in check.finding.reasons],
        dry_at=quantiles_shape(check.finding.dry_at),
        rested_h=check.rested / 3_600_000,
        rest_h=check.rest / 3_600_000,
        spots=[
            SpotWaterShape(
                spot=one.code, name=one.name, over_dry=one.over_dry, limit=one.limit, packed=one.packed
            )
            for one in check.spots
        ],
        figures=FiguresShape(
            thickness_mm=figures.thickness_mm,
            mass_kg=figures.mass_kg,
            water_kg=figures.water_kg,
            scale_kg=figures.scale_kg,
            scale_mm=figures.scale_mm,
            missing=figures.missing,
        ),
        weighings=[WeighedShape(at=to_datetime(one.at), kg=one.kg) for one in check.weighings],
        questions=[_question(one) for one in (*check.packed, *check.ticks)],
        patches=[
            PatchShape(
                id=one.id,
                spot=one.spot,
                thickness_mm=one.thickness_mm,
                size_mm=one.size_mm,
                where=one.where,
                who=one.who,
                at=to_datetime(one.at),
            )
            for one in check.patches
        ],
        coats=[coat_shape(one) for one in check.coats],
        assumed=list(check.notes),
        clearings=[clearing_shape(one) for one in clearings],
        cautions=list(cautions),
    )


def quantiles_shape(when: Quantiles) -> FitAt:
    """A time not known exactly, as it goes over the wire."""
    return FitAt(p10=maybe_datetime(when.p10), p50=maybe_datetime(when.p50), p90=maybe_datetime(when.p90))


def _question(one: Answered) -> QuestionShape:
    return QuestionShape(key=one.key, words=one.words, yes=one.yes, who=one.who, at=maybe_datetime(one.at))
