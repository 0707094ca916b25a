"""The addresses of tags. Short ones are taken in capitals and in small letters; asking writes nothing."""

from typing import Annotated, Literal

from fastapi import APIRouter, Path, Query, Request, Response

from server.api.schemas import LARGEST_ID
from server.api.trees import TreeId
from server.pages.render import show
from server.pages.tags import hook_tag_page, tags_page, tree_tag_page
from server.parts import Parts

Side = Literal["25", "35", "50"]


def tags_pages(parts: Parts) -> APIRouter:
    """The sheet of tags, and where they lead."""
    router = APIRouter(include_in_schema=False)

    @router.get("/tags")
    def tags(
        request: Request,
        address: Annotated[str, Query(max_length=2_000)] = "",
        size: Side = "35",
        more: Annotated[str, Query(max_length=2_000)] = "",
        tree: Annotated[int | None, Query(ge=1, le=LARGEST_ID)] = None,
    ) -> Response:
        typed = address or _asked_at(request)
        page = tags_page(parts, typed, int(size), more, tree)
        return show(page, 422 if page.fault else 200)

    @router.get("/trees/{tree_id}/tag")
    def tag(request: Request, tree_id: TreeId) -> Response:
        return show(tags_page(parts, _asked_at(request), 35, "", tree_id))

    @router.get("/t/{tree_id}")
    @router.get("/T/{tree_id}")
    def tree_tag(tree_id: TreeId) -> Response:
        return show(tree_tag_page(parts, tree_id))

    @router.get("/h/{hook:path}")
    @router.get("/H/{hook:path}")
    def hook_tag(hook: Annotated[str, Path(min_length=1, max_length=200)]) -> Response:
        return show(hook_tag_page(parts, hook))

    return router


def _asked_at(request: Request) -> str:
    """The address by which this browser found the service: what phones will likely find it by too."""
    return f"{request.url.scheme}://{request.headers.get('host', '')}"
