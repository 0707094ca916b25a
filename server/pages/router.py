"""The addresses of the pages. A form changes something and sends the browser on to a page that shows it
(303)."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse

from server.api.problems import ProblemError
from server.api.schemas import Name, Note
from server.pages.air import Span, air_page, name_place
from server.pages.phone_files import phone_files
from server.pages.rack_kept import KeptRack
from server.pages.render import show
from server.pages.shop import shop_page
from server.pages.tree_routes import tree_pages
from server.parts import Parts


def page_router(parts: Parts) -> APIRouter:
    """The pages over these parts."""
    router = APIRouter(include_in_schema=False)
    router.include_router(phone_files())
    router.include_router(tree_pages(parts))
    kept_rack = KeptRack(parts)

    @router.get("/")
    async def rack(place: Annotated[str, Query(max_length=64)] = "") -> Response:
        # Another thread would have to wait for the judge's to let it in, at its beginning and at its end.
        shown = kept_rack.shown(place)
        return await run_in_threadpool(kept_rack.show, place) if shown is None else shown

    @router.get("/air")
    def air(span: Span = "day") -> Response:
        return show(air_page(parts, span))

    @router.post("/places")
    def add_place(
        place: Annotated[Note, Form()],
        name: Annotated[Name, Form()],
        speed_m_s: Annotated[float, Form(gt=0, le=30)],
    ) -> Response:
        fault = name_place(parts, place, name, speed_m_s)
        return show(fault, 422) if fault else RedirectResponse("/air", status_code=303)

    @router.get("/shop")
    def shop() -> Response:
        return show(shop_page(parts))

    @router.get("/favicon.ico")
    def icon() -> Response:
        raise ProblemError(404, "there is no such page")

    return router
