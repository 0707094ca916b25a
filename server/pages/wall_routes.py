"""The address of the wall view."""

from fastapi import APIRouter, Response

from server.pages.render import show
from server.pages.wall import wall_page
from server.parts import Parts


def wall_pages(parts: Parts) -> APIRouter:
    """The wall over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/wall")
    def wall() -> Response:
        return show(wall_page(parts))

    return router
