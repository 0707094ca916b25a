"""The addresses of the form for a new tree. What is wrong with it is said on the form, not instead of it."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Form, Query, Response

from server.api.schemas import LARGEST_ID
from server.api.trees import TreeId
from server.pages.new_tree import TreeForm, first_form, hang, new_tree_page
from server.pages.render import show
from server.parts import Parts

Text = Annotated[str, Form(max_length=2_000)]
Texts = Annotated[list[str], Form(max_length=40)]


def new_tree_pages(parts: Parts) -> APIRouter:
    """The form over these parts. It is asked before the pages of trees by number."""
    router = APIRouter(include_in_schema=False)

    @router.get("/trees/new")
    def new_tree(
        like: Annotated[int | None, Query(ge=1, le=LARGEST_ID)] = None,
        hook: Annotated[str, Query(max_length=60)] = "",
    ) -> Response:
        return show(new_tree_page(parts, first_form(parts, like, hook)))

    @router.get("/trees/{tree_id}/another")
    def another(tree_id: TreeId) -> Response:
        return show(new_tree_page(parts, first_form(parts, tree_id)))

    @router.post("/trees")
    def add_tree(
        spot_name: Texts,
        spot_code: Texts,
        label: Text = "",
        hook: Text = "",
        place: Text = "",
        place_name: Text = "",
        recipe: Text = "",
        size: Text = "",
        like: Text = "",
    ) -> Response:
        spots = lines_of(spot_name, spot_code)
        return hang(parts, TreeForm(label, hook, place, recipe, size, spots, like, place_name))

    return router


def lines_of(names: Sequence[str], codes: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """The lines of a form for spots, without those where nothing was typed.

    >>> lines_of(["vent joint", ""], ["joint:30", " "])
    (('vent joint', 'joint:30'),)
    """
    lines = zip(names, codes, strict=False)
    return tuple((name, code) for name, code in lines if name.strip() or code.strip())
