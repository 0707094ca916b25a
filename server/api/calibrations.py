"""Calibrations of a node over HTTP: list, add, take back."""

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field

from sensors.calibration import CalibrationError, held_between
from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, Moment, Wire, maybe_datetime, to_datetime, to_millis
from server.calibrating import SaidPoint, calibrate, known_node, undo_calibration
from server.parts import Parts
from server.store import calibrations as store
from server.store.calibrations import Calibration

NodeName = Annotated[str, Path(max_length=64)]
PlaceName = Annotated[
    str | None, Query(max_length=64, description="needed where a node of that name is heard at several")
]
Figure = Annotated[float | None, Field(allow_inf_nan=False)]


class PointRequest(Wire):
    """Where the node and the truth were both known, in °C or %RH.

    Of a salt: `salt`, `temp_c` of the jar. Of a reference: what was `right`, within `error` (one standard
    deviation). Where `said` is left out it is what the node told in the ten minutes before `at`, or now.
    """

    salt: Literal["LiCl", "MgCl2", "Mg(NO3)2", "NaCl", "K2SO4"] | None = None
    temp_c: Figure = None
    right: Figure = None
    error: Annotated[float | None, Field(gt=0.0, le=10.0)] = None
    said: Figure = None
    at: Moment | None = None


class CalibrationRequest(Wire):
    """A calibration that holds from `from` on, or from now on."""

    quantity: Literal["humidity", "temperature"]
    points: Annotated[list[PointRequest], Field(min_length=1, max_length=20)]
    since: Annotated[Moment | None, Field(alias="from")] = None
    note: Annotated[str, Field(max_length=200)] = ""


class PointShape(BaseModel):
    """A point as it was said; `salt` is empty for a reference."""

    said: float
    right: float
    error: float
    at: datetime
    salt: str


class CalibrationShape(BaseModel):
    """right value = `slope` x said value + `shift`, from `since` on.

    `residual` is the largest miss at a point, null where as many points as coefficients leave none. It is
    taken to hold where the node says `holds_from` to `holds_to`. `undone` is null while it stands.
    """

    id: int
    place: str
    node: str
    quantity: str
    kind: str
    since: datetime
    said: datetime
    slope: float
    shift: float
    residual: float | None
    holds_from: float
    holds_to: float
    points: list[PointShape]
    note: str
    undone: datetime | None


def calibrations_router(parts: Parts) -> APIRouter:
    """The calls about calibrations."""
    router = APIRouter(tags=["air"])

    @router.get("/api/nodes/{node}/calibrations", responses=documented(404))
    def calibrations(node: NodeName, place: PlaceName = None) -> list[CalibrationShape]:
        """Every calibration of a node, also those taken back, by the time from which they hold."""
        return [_shape(one) for one in store.calibrations(parts.engine, known_node(parts, node, place), node)]

    @router.post("/api/nodes/{node}/calibrations", status_code=201, responses=documented(404))
    def add(node: NodeName, request: CalibrationRequest, place: PlaceName = None) -> CalibrationShape:
        """Correct a node from a time on; its readings stay as they came, the air is made anew."""
        points = [
            SaidPoint(
                one.right,
                one.said,
                one.error,
                None if one.at is None else to_millis(one.at),
                one.salt or "",
                one.temp_c,
            )
            for one in request.points
        ]
        since = None if request.since is None else to_millis(request.since)
        at = known_node(parts, node, place)
        try:
            return _shape(calibrate(parts, at, node, request.quantity, points, since, request.note))
        except CalibrationError as error:
            raise ProblemError(422, str(error), "no-calibration") from None

    @router.delete(
        "/api/nodes/{node}/calibrations/{calibration_id}", status_code=204, responses=documented(404)
    )
    def undo(
        node: NodeName,
        calibration_id: Annotated[int, Path(ge=1, le=LARGEST_ID)],
        place: PlaceName = None,
    ) -> None:
        """Take a calibration back; the one before it holds again."""
        undo_calibration(parts, known_node(parts, node, place), node, calibration_id)

    return router


def _shape(kept: Calibration) -> CalibrationShape:
    low, high = held_between(kept.quantity, [point.said for point in kept.points])
    return CalibrationShape(
        id=kept.id,
        place=kept.place,
        node=kept.node,
        quantity=kept.quantity,
        kind=kept.kind,
        since=to_datetime(kept.from_ms),
        said=to_datetime(kept.said_ms),
        slope=kept.slope,
        shift=kept.shift,
        residual=kept.residual,
        holds_from=low,
        holds_to=high,
        points=[
            PointShape(said=one.said, right=one.right, error=one.error, at=to_datetime(one.at), salt=one.salt)
            for one in kept.points
        ],
        note=kept.note,
        undone=maybe_datetime(kept.undone_at),
    )
