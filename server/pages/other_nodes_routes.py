"""The addresses of the page of other makers' nodes."""

import asyncio
from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import RedirectResponse

from server.api.schemas import LARGEST_ID
from server.pages.other_nodes import drop_mapping, other_nodes_page, use_mapping
from server.pages.render import show
from server.pages.typed import typed
from server.parts import Parts

ADDRESS = "/air/other-nodes"


def other_nodes_pages(parts: Parts) -> APIRouter:
    """The pages of other makers' nodes over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get(ADDRESS)
    def page() -> Response:
        return show(other_nodes_page(parts))

    @router.post(ADDRESS)
    async def use(request: Request) -> Response:
        said = await typed(request, 40)
        answer = await asyncio.to_thread(use_mapping, parts, said)
        if answer is None:
            return RedirectResponse(ADDRESS, status_code=303)
        return show(answer, 422 if answer.fault else 200)

    @router.post(ADDRESS + "/{mapping_id}/remove")
    def remove(mapping_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> Response:
        drop_mapping(parts, mapping_id)
        return RedirectResponse(ADDRESS, status_code=303)

    return router
