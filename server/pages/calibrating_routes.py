"""The addresses of the page on which a node is calibrated."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Path, Response
from fastapi.responses import RedirectResponse

from sensors.calibration import CalibratedQuantity, CalibrationError
from server.api.schemas import LARGEST_ID, Slug
from server.calibrating import (
    SaidPoint,
    begin_jar,
    calibrate,
    calibrate_by_jars,
    end_jar,
    undo_calibration,
)
from server.node_setup import set_up
from server.pages.air import air_page
from server.pages.calibrating import address_of, as_typed, calibrate_page, since_said
from server.pages.render import show
from server.parts import Parts
from server.store.engine import RefusedError
from server.units import units_of

Since = Annotated[Literal["0", "1", "7", "30", "all"], Form()]
Typed = Annotated[str, Form(max_length=20)]
ADDRESS = "/air/nodes/{place}/{node}/calibrate"


def calibrating_pages(parts: Parts) -> APIRouter:
    """The pages of calibration over these parts."""
    router = APIRouter(include_in_schema=False)

    def refused(place: str, node: str, error: Exception) -> Response:
        return show(calibrate_page(parts, place, node, str(error)), 422)

    def onward(place: str, node: str) -> Response:
        return RedirectResponse(address_of(place, node), status_code=303)

    @router.get(ADDRESS)
    def page(place: Slug, node: Slug) -> Response:
        return show(calibrate_page(parts, place, node))

    @router.post("/air/nodes/{place}/{node}/hook")
    def hook(place: Slug, node: Slug, hook: Annotated[str, Form(max_length=64)] = "") -> Response:
        try:
            set_up(parts, place, node, {"hook": hook})
        except RefusedError as error:
            return show(air_page(parts, fault=str(error)), 409)
        return RedirectResponse("/air", status_code=303)

    @router.post(ADDRESS + "/jar")
    def begin(place: Slug, node: Slug, salt: Annotated[str, Form(max_length=20)]) -> Response:
        try:
            begin_jar(parts, place, node, salt)
        except (CalibrationError, RefusedError) as error:
            return refused(place, node, error)
        return onward(place, node)

    @router.post(ADDRESS + "/jar/end")
    def end(place: Slug, node: Slug, read: Annotated[Literal["yes", "no"], Form()]) -> Response:
        try:
            end_jar(parts, place, node, read == "yes")
        except CalibrationError as error:
            return refused(place, node, error)
        return onward(place, node)

    @router.post(ADDRESS + "/by-jars")
    def by_jars(
        place: Slug,
        node: Slug,
        jar: Annotated[list[Annotated[int, Form(ge=1, le=LARGEST_ID)]] | None, Form()] = None,
        since: Since = "0",
    ) -> Response:
        try:
            calibrate_by_jars(parts, place, node, jar or [], since_said(parts, since))
        except CalibrationError as error:
            return refused(place, node, error)
        return onward(place, node)

    @router.post(ADDRESS + "/by-reference")
    def by_reference(
        place: Slug,
        node: Slug,
        quantity: Annotated[CalibratedQuantity, Form()],
        right: Typed,
        said: Typed = "",
        other_right: Typed = "",
        other_said: Typed = "",
        error: Typed = "",
        since: Since = "0",
    ) -> Response:
        try:
            within = figure("the reference's error", error)
            points = [SaidPoint(figure("the reference", right), figure("the node", said), within)]
            if other_right or other_said:
                points.append(
                    SaidPoint(figure("the reference", other_right), figure("the node", other_said), within)
                )
            units = units_of(parts.engine)
            meant = [as_typed(units, quantity, point) for point in points]
            calibrate(parts, place, node, quantity, meant, since_said(parts, since))
        except CalibrationError as fault:
            return refused(place, node, fault)
        return onward(place, node)

    @router.post(ADDRESS + "/{calibration_id}/undo")
    def undo(place: Slug, node: Slug, calibration_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> Response:
        undo_calibration(parts, place, node, calibration_id)
        return onward(place, node)

    return router


def figure(thing: str, typed: str) -> float | None:
    """A figure as it was typed, with a point or a comma; None where nothing was.

    Raises CalibrationError where it is no figure.

    >>> figure("the node", " 52,5 "), figure("the node", "")
    (52.5, None)
    """
    if not typed.strip():
        return None
    try:
        return float(typed.strip().replace(",", "."))
    except ValueError:
        raise CalibrationError(f"{thing} {typed!r} is not a figure") from None
