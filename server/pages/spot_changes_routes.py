"""The addresses of the form for a tree's spots."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from sensors.reading import KeptOutError
from server.api.trees import TreeId
from server.drying.spots import SpotError
from server.pages.new_tree_routes import Texts, lines_of
from server.pages.render import show
from server.pages.spot_changes import spots_page, take_off_question
from server.pages.tree_changes import on_rack
from server.pages.tree_routes import Tick
from server.pages.typed_spots import spots_typed
from server.parts import Parts
from server.plain_names import BadNameError
from server.spot_desk import change_spots, changed, look_at_spots
from server.store import dips as dip_store
from server.store.engine import RefusedError


def spot_changes_pages(parts: Parts) -> APIRouter:
    """The form over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/trees/{tree_id}/spots")
    def ask(tree_id: TreeId) -> Response:
        return show(spots_page(parts, tree_id))

    @router.post("/trees/{tree_id}/spots")
    def take(tree_id: TreeId, spot_name: Texts, spot_code: Texts, confirm: Tick = False) -> Response:
        tree, typed = on_rack(parts, tree_id), lines_of(spot_name, spot_code)
        try:
            spots = spots_typed(typed)
            look_at_spots(parts, tree, spots)
        except (BadNameError, SpotError, KeptOutError) as fault:
            return show(spots_page(parts, tree_id, typed, str(fault)), 422)
        except RefusedError as fault:
            return show(spots_page(parts, tree_id, typed, str(fault)), 409)
        gone = changed(tree.spots, spots).taken_off
        if gone and not confirm and dip_store.dips(parts.engine, tree_id):
            return show(take_off_question(parts, tree, [spot.name for spot in gone], typed), 409)
        change_spots(parts, tree, spots)
        return RedirectResponse(f"/trees/{tree_id}", status_code=303)

    return router
