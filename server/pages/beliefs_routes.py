"""The addresses of the page of what is believed."""

import asyncio

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from server.pages.beliefs import beliefs_page, set_beliefs, usual_beliefs
from server.pages.render import show
from server.pages.typed import typed
from server.parts import Parts

ADDRESS = "/shop/beliefs"


def beliefs_pages(parts: Parts) -> APIRouter:
    """The pages of what is believed over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get(ADDRESS)
    def page() -> Response:
        return show(beliefs_page(parts))

    @router.post(ADDRESS)
    async def change(request: Request) -> Response:
        said = await typed(request, 200)
        fault = await asyncio.to_thread(set_beliefs, parts, said)
        return show(fault, 422) if fault else RedirectResponse(ADDRESS, status_code=303)

    @router.post(ADDRESS + "/usual")
    def usual() -> Response:
        usual_beliefs(parts)
        return RedirectResponse(ADDRESS, status_code=303)

    return router
