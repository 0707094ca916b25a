"""The addresses of the pages of measurements, kept apart from the others for their number."""

from typing import Annotated

from fastapi import APIRouter, Form, Path, Response
from fastapi.responses import RedirectResponse

from sensors.clock import MINUTE_MS
from server.api.measurements import known_place
from server.api.schemas import LARGEST_ID, Slug
from server.api.trees import TreeId
from server.measuring_desk import Measured, MeasurementError, undo_measurement
from server.pages.measuring import measure_page, say_measurement
from server.pages.render import show
from server.parts import Parts
from server.store.values import MeasuredKind

Figure = Annotated[float | None, Form(allow_inf_nan=False)]
Words = Annotated[str | None, Form(max_length=40)]


def measuring_pages(parts: Parts) -> APIRouter:
    """The pages of measurements over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/trees/{tree_id}/measure")
    def measure(tree_id: TreeId) -> Response:
        return show(measure_page(parts, tree_id))

    @router.post("/trees/{tree_id}/measurements")
    def say(
        tree_id: TreeId,
        kind: Annotated[MeasuredKind, Form()],
        key: Annotated[str, Form(max_length=200)],
        ago_min: Annotated[int, Form(ge=0, le=7 * 24 * 60)] = 0,
        spot: Words = None,
        word: Words = None,
        value: Figure = None,
        reference_c: Figure = None,
    ) -> Response:
        said = Measured(kind, None, spot, value, reference_c, word, f"{key}-{kind}")
        try:
            say_measurement(parts, tree_id, said, ago_min * MINUTE_MS)
        except MeasurementError as error:
            return show(measure_page(parts, tree_id, str(error)), 422)
        return RedirectResponse(f"/trees/{tree_id}/measure", status_code=303)

    @router.post("/trees/{tree_id}/measurements/{measurement_id}/undo")
    def undo(tree_id: TreeId, measurement_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> Response:
        undo_measurement(parts, tree_id, measurement_id)
        return RedirectResponse(f"/trees/{tree_id}/measure", status_code=303)

    @router.post("/places/{place}/forget")
    def forget(place: Slug, tree: Annotated[int | None, Form(ge=1, le=LARGEST_ID)] = None) -> Response:
        known_place(parts, place)
        parts.rack.learn(place, "forgotten")
        back = "/shop/beliefs" if tree is None else f"/trees/{tree}/measure"
        return RedirectResponse(back, status_code=303)

    return router
