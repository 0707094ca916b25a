"""How other makers' payloads are read, over HTTP: list, try on a payload, add, remove."""

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Path
from pydantic import BaseModel, Field

from sensors.mapping import Field as FigureField
from sensors.mapping import Mapping, MappingError, TimeField, read_mapped
from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, KeptOut, Wire, to_datetime
from server.parts import Parts
from server.store import mappings as mapping_store
from server.store.mappings import KeptMapping

Pointer = Annotated[str, Field(max_length=200, description="an RFC 6901 JSON pointer, such as /air/0/t")]
Word = Annotated[str, Field(min_length=1, max_length=64)]
Figure = Annotated[float, Field(allow_inf_nan=False)]


class FieldShape(Wire):
    """Where one figure stands. Its value x `scale` + `offset` is in `unit`."""

    name: Literal["temperature", "humidity", "airspeed", "mass", "surface", "battery"]
    pointer: Pointer = ""
    unit: Literal["Cel", "degF", "K", "%RH", "/", "m/s", "km/h", "ft/min", "kg", "g", "lb", "V", "mV", "%EL"]
    scale: Figure = 1.0
    offset: Figure = 0.0


class TimeShape(Wire):
    """Where the payload says when it was measured: seconds or milliseconds since 1970, or a text."""

    pointer: Pointer
    unit: Literal["s", "ms", "text"] = "s"


class MappingRequest(Wire):
    """How a payload is read. `{1}` in place or node stands for the text of the filter's first `+`."""

    topic_filter: Annotated[str, Field(min_length=1, max_length=256)]
    place: Word
    node: Word
    format: Literal["json", "number"] = "json"
    fields: Annotated[list[FieldShape], Field(min_length=1, max_length=6)]
    time: TimeShape | None = None


class TrialRequest(Wire):
    """A mapping, and a message to try it on."""

    mapping: MappingRequest
    topic: Annotated[str, Field(min_length=1, max_length=256)]
    payload: Annotated[str, Field(max_length=65_536)]


class MappingShape(MappingRequest):
    """A mapping in use."""

    id: int
    created: datetime


class ReadShape(BaseModel):
    """One reading that a payload comes to."""

    place: str
    node: str
    name: str
    unit: str
    value: float
    time: datetime


class TrialAnswer(BaseModel):
    """What a message would come to; nothing of it is kept."""

    readings: list[ReadShape]
    rejected: list[KeptOut]


def mappings_router(parts: Parts) -> APIRouter:
    """The calls about mappings."""
    router = APIRouter(tags=["air"])

    @router.get("/api/mappings", responses=documented())
    def mappings() -> list[MappingShape]:
        """Every mapping in use; the first that fits a topic reads it."""
        return [_shape(kept) for kept in mapping_store.mappings(parts.engine)]

    @router.post("/api/mappings", status_code=201, responses=documented(409))
    def add(request: MappingRequest) -> MappingShape:
        """Read the payloads of a topic filter from now on."""
        kept = mapping_store.add_mapping(parts.engine, mapping_said(request), parts.clock.now())
        parts.on_mappings()
        return _shape(kept)

    @router.post("/api/mappings/try", responses=documented())
    def try_out(request: TrialRequest) -> TrialAnswer:
        """What a message would come to by a mapping that is not in use yet."""
        mapping = mapping_said(request.mapping)
        if not mapping.matches(request.topic):
            detail = f"topic filter {mapping.topic_filter!r} is not for the topic {request.topic!r}"
            raise ProblemError(422, detail, "not-this-topic")
        read = read_mapped(mapping, request.topic, request.payload.encode(), parts.clock.now())
        return TrialAnswer(
            readings=[
                ReadShape(
                    place=one.place,
                    node=one.node,
                    name=one.name,
                    unit=one.unit,
                    value=one.value,
                    time=to_datetime(one.time),
                )
                for one in read.readings
            ],
            rejected=[KeptOut(reason=one.reason) for one in read.rejected],
        )

    @router.delete("/api/mappings/{mapping_id}", status_code=204, responses=documented(404))
    def remove(mapping_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> None:
        """Read these payloads no more; what was read stays."""
        mapping_store.remove_mapping(parts.engine, mapping_id, parts.clock.now())
        parts.on_mappings()

    return router


def mapping_said(request: MappingRequest) -> Mapping:
    """A mapping as it was asked for. Raises ProblemError where it cannot be."""
    try:
        return Mapping(
            request.topic_filter,
            request.place,
            request.node,
            request.format,
            tuple(
                FigureField(one.name, one.pointer, one.unit, one.scale, one.offset) for one in request.fields
            ),
            None if request.time is None else TimeField(request.time.pointer, request.time.unit),
        )
    except MappingError as error:
        raise ProblemError(422, str(error), "no-mapping") from None


def _shape(kept: KeptMapping) -> MappingShape:
    mapping = kept.mapping
    return MappingShape.model_validate(
        {
            "id": kept.id,
            "created": to_datetime(kept.created),
            "topic_filter": mapping.topic_filter,
            "place": mapping.place,
            "node": mapping.node,
            "format": mapping.format,
            "fields": [vars(field) for field in mapping.fields],
            "time": None if mapping.time is None else vars(mapping.time),
        }
    )
