"""What the caster measured, over HTTP: weighings, temperatures, touches, colours, and taking one back."""

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Header, Path, Response
from pydantic import BaseModel, Field

from server.api.problems import ProblemError, documented
from server.api.schemas import (
    LARGEST_ID,
    Moment,
    Slug,
    SpotCode,
    Wire,
    maybe_datetime,
    to_datetime,
    to_millis,
)
from server.api.trees import TreeId
from server.dip_desk import known_tree
from server.learned_words import what_was_learned
from server.measuring_desk import Measured, MeasurementError, take_measurement, undo_measurement
from server.parts import Parts
from server.store import measurements as measurement_store
from server.store import places as place_store
from server.store.engine import UnknownError
from server.store.values import Measurement

Key = Annotated[
    str | None,
    Header(alias="Idempotency-Key", min_length=1, max_length=200, pattern=r"^[!-~]+$"),
]
Place = Annotated[Slug, Path(description="a place's id")]
Degrees = Annotated[float, Field(ge=-40, le=150, allow_inf_nan=False)]


class WeighingRequest(Wire):
    """What a scale showed, with all that hung on it, now or `at`."""

    at: Moment | None = None
    kg: Annotated[float, Field(gt=0, le=500, allow_inf_nan=False)]


class SurfaceRequest(Wire):
    """What an infrared thermometer showed at a spot, and, where it was read too, at a dry shell beside it."""

    at: Moment | None = None
    spot: SpotCode
    temp_c: Degrees
    reference_c: Degrees | None = None


class TouchRequest(Wire):
    """What a finger felt at a spot."""

    at: Moment | None = None
    spot: SpotCode
    felt: Literal["damp", "dry"]


class ColourRequest(Wire):
    """What an eye saw at a spot: still dark, or gone pale."""

    at: Moment | None = None
    spot: SpotCode
    seen: Literal["dark", "pale"]


class MeasurementShape(BaseModel):
    """A measurement as it is kept; what does not belong to its kind is null."""

    id: int
    kind: Literal["weighing", "surface_temp", "touch", "colour"]
    at: datetime
    said_at: datetime
    spot: str | None = None
    kg: float | None = None
    temp_c: float | None = None
    reference_c: float | None = None
    felt: str | None = None
    seen: str | None = None
    undone_at: datetime | None = None


class LearnedAnswer(BaseModel):
    """What a place has learned, in sentences, from what; the ids of measurements that are disbelieved."""

    place: str
    generation: int
    learned: list[str]
    evidence: str
    disbelieved: list[int]


class AdviceShape(BaseModel):
    """A measurement that would tell most; `narrowed` is the spread expected after it over that before."""

    tree: int
    kind: Literal["weighing", "surface_temp", "touch", "colour"]
    spot: str
    at: datetime
    narrowed: float


class AdviceAnswer(BaseModel):
    """What is asked for today, null where nothing is worth asking."""

    advice: AdviceShape | None


class MeasurementsAnswer(BaseModel):
    """Everything that was measured on a tree, undone ones too."""

    measurements: list[MeasurementShape]


def measurements_router(parts: Parts) -> APIRouter:
    """The calls of measurements."""
    router = APIRouter(prefix="/api/trees/{tree_id}", tags=["measurements"])
    answers = documented(404, 409) | {200: {"description": "Said before"}}

    def keep(tree_id: int, said: Measured, response: Response) -> MeasurementShape:
        try:
            kept, new = take_measurement(parts, tree_id, said)
        except MeasurementError as error:
            raise ProblemError(422, str(error), "measurement") from error
        response.status_code = 201 if new else 200
        return _shape(kept)

    @router.post("/weighings", status_code=201, responses=answers)
    def weigh(
        tree_id: TreeId, request: WeighingRequest, response: Response, key: Key = None
    ) -> MeasurementShape:
        """A weighing of the whole tree. No tare is needed: the changes tell."""
        at = None if request.at is None else to_millis(request.at)
        return keep(tree_id, Measured("weighing", at, value=request.kg, key=key), response)

    @router.post("/surface-temps", status_code=201, responses=answers)
    def surface(
        tree_id: TreeId, request: SurfaceRequest, response: Response, key: Key = None
    ) -> MeasurementShape:
        """A surface temperature; read a dry shell on the same rack with the same thermometer too."""
        at = None if request.at is None else to_millis(request.at)
        said = Measured("surface_temp", at, request.spot, request.temp_c, request.reference_c, key=key)
        return keep(tree_id, said, response)

    @router.post("/touches", status_code=201, responses=answers)
    def touch(
        tree_id: TreeId, request: TouchRequest, response: Response, key: Key = None
    ) -> MeasurementShape:
        """A touch: damp or dry. In a pocket it tells next to nothing."""
        at = None if request.at is None else to_millis(request.at)
        return keep(tree_id, Measured("touch", at, request.spot, word=request.felt, key=key), response)

    @router.post("/colours", status_code=201, responses=answers)
    def colour(
        tree_id: TreeId, request: ColourRequest, response: Response, key: Key = None
    ) -> MeasurementShape:
        """A look: still dark, or gone pale."""
        at = None if request.at is None else to_millis(request.at)
        return keep(tree_id, Measured("colour", at, request.spot, word=request.seen, key=key), response)

    @router.get("/measurements", responses=documented(404))
    def measured(tree_id: TreeId) -> MeasurementsAnswer:
        """Everything that was measured on a tree."""
        known_tree(parts, tree_id)
        found = measurement_store.measurements(parts.engine, tree_id)
        return MeasurementsAnswer(measurements=[_shape(one) for one in found])

    @router.delete("/measurements/{measurement_id}", responses=documented(404))
    def undo(tree_id: TreeId, measurement_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> MeasurementShape:
        """Take a measurement back; it is kept, marked as undone. Once more changes nothing."""
        return _shape(undo_measurement(parts, tree_id, measurement_id))

    return router


def learning_router(parts: Parts) -> APIRouter:
    """What places learned, forgetting it, and what to measure next."""
    router = APIRouter(tags=["measurements"])

    @router.get("/api/places/{place}/learned", responses=documented(404))
    def learned(place: Place) -> LearnedAnswer:
        """What a place has learned from its measurements."""
        known_place(parts, place)
        return _learned(parts, place)

    @router.post("/api/places/{place}/forget", status_code=202, responses=documented(404))
    def forget(place: Place) -> LearnedAnswer:
        """Forget what a place has learned: its trees are judged by the prior again. What was said is kept."""
        known_place(parts, place)
        parts.rack.learn(place, "forgotten")
        return _learned(parts, place)

    @router.get("/api/advice", responses=documented())
    def advice() -> AdviceAnswer:
        """The measurement that would narrow the forecast most, at most one a day."""
        found = parts.rack.advice()
        if found is None:
            return AdviceAnswer(advice=None)
        shape = AdviceShape.model_validate(
            {
                "tree": found.tree_id,
                "kind": found.kind,
                "spot": found.spot,
                "at": to_datetime(found.at),
                "narrowed": round(found.narrowed, 3),
            }
        )
        return AdviceAnswer(advice=shape)

    return router


def known_place(parts: Parts, place: str) -> None:
    """Raises UnknownError where there is no such place."""
    if place_store.place(parts.engine, place) is None:
        raise UnknownError(f"there is no place {place!r}")


def _learned(parts: Parts, place: str) -> LearnedAnswer:
    found = what_was_learned(parts.engine, place)
    return LearnedAnswer(
        place=place,
        generation=found.generation,
        learned=list(found.sentences),
        evidence=found.evidence,
        disbelieved=list(found.disbelieved),
    )


def _shape(one: Measurement) -> MeasurementShape:
    return MeasurementShape(
        id=one.id,
        kind=one.kind,
        at=to_datetime(one.at),
        said_at=to_datetime(one.said_at),
        spot=one.spot,
        kg=one.value if one.kind == "weighing" else None,
        temp_c=one.value if one.kind == "surface_temp" else None,
        reference_c=one.reference_c,
        felt=one.word if one.kind == "touch" else None,
        seen=one.word if one.kind == "colour" else None,
        undone_at=maybe_datetime(one.undone_at),
    )
