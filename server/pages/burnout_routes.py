"""The addresses of the check before burnout."""

from typing import Annotated

from fastapi import APIRouter, Form, Path, Response
from fastapi.responses import RedirectResponse

from sensors.clock import MINUTE_MS
from server.api.schemas import LARGEST_ID, Name, Note
from server.api.trees import TreeId
from server.burnout_desk import ClearingError, SaidClearing, answer, clear, reopen, say_patch, undo_patch
from server.casting_desk import say_casting
from server.dip_desk import known_tree
from server.pages.burnout import burnout_page
from server.pages.render import show
from server.parts import Parts
from server.store import castings
from server.store.castings import NewCasting, Outcome
from server.store.clearings import NewPatch

PartId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Who = Annotated[Name, Form()]
Words = Annotated[Note, Form()]
Keys = Annotated[list[str] | None, Form(max_length=40)]
Code = Annotated[str, Form(max_length=40)]
Typed = Annotated[str, Form(max_length=20)]
Ago = Annotated[int, Form(ge=0, le=7 * 24 * 60)]


def burnout_pages(parts: Parts) -> APIRouter:
    """The page of the check over these parts."""
    router = APIRouter(prefix="/trees/{tree_id}", include_in_schema=False)

    def onward(tree_id: int) -> Response:
        return RedirectResponse(f"/trees/{tree_id}/burnout-check", status_code=303)

    def patch_of(spot: str, where: str, thickness_mm: str, size_mm: str, ago_min: int) -> NewPatch:
        wide = None if not size_mm.strip() else figure("width of the patch", size_mm)
        at = parts.clock.now() - ago_min * MINUTE_MS
        return NewPatch(spot, figure("thickness of the patch", thickness_mm), at, wide, where)

    @router.get("/burnout-check")
    def check(tree_id: TreeId) -> Response:
        return show(burnout_page(parts, tree_id))

    @router.post("/burnout-check/answers")
    def answers(tree_id: TreeId, who: Who, asked: Keys = None, yes: Keys = None) -> Response:
        try:
            answer(parts, tree_id, {key: key in (yes or ()) for key in asked or ()}, who)
        except ClearingError as error:
            return show(burnout_page(parts, tree_id, str(error)), 422)
        return onward(tree_id)

    @router.post("/burnout-check/clear")
    def clear_tree(tree_id: TreeId, who: Who, why: Words = "") -> Response:
        try:
            clear(parts, tree_id, SaidClearing(who, why))
        except ClearingError as error:
            return show(burnout_page(parts, tree_id, str(error)), 409)
        return onward(tree_id)

    @router.post("/reopen")
    def reopen_tree(
        tree_id: TreeId,
        who: Who,
        why: Words,
        patched: Annotated[bool, Form()] = False,
        spot: Code = "",
        where: Words = "",
        thickness_mm: Typed = "",
        size_mm: Typed = "",
        ago_min: Ago = 0,
    ) -> Response:
        try:
            patch = patch_of(spot, where, thickness_mm, size_mm, ago_min) if patched else None
            reopen(parts, tree_id, who, why, patch)
        except ClearingError as error:
            return show(burnout_page(parts, tree_id, str(error)), 422)
        return onward(tree_id)

    @router.post("/patches")
    def patch(
        tree_id: TreeId,
        who: Who,
        spot: Code,
        thickness_mm: Typed,
        where: Words = "",
        size_mm: Typed = "",
        ago_min: Ago = 0,
    ) -> Response:
        try:
            say_patch(parts, tree_id, who, patch_of(spot, where, thickness_mm, size_mm, ago_min))
        except ClearingError as error:
            return show(burnout_page(parts, tree_id, str(error)), 422)
        return onward(tree_id)

    @router.post("/patches/{patch_id}/undo")
    def no_patch(tree_id: TreeId, patch_id: PartId) -> Response:
        known_tree(parts, tree_id)
        undo_patch(parts, tree_id, patch_id)
        return onward(tree_id)

    @router.post("/castings")
    def cast(
        tree_id: TreeId,
        who: Who,
        outcome: Annotated[Outcome, Form()],
        spot: Code = "",
        where: Words = "",
        note: Words = "",
    ) -> Response:
        try:
            say_casting(parts, tree_id, NewCasting(outcome, who, spot, where, note))
        except ClearingError as error:
            return show(burnout_page(parts, tree_id, str(error)), 422)
        return onward(tree_id)

    @router.post("/castings/{casting_id}/undo")
    def not_cast(tree_id: TreeId, casting_id: PartId) -> Response:
        castings.undo_casting(parts.engine, tree_id, casting_id, parts.clock.now())
        return onward(tree_id)

    return router


def figure(what: str, typed: str) -> float:
    """A figure as it was typed; raises ClearingError naming it.

    >>> figure("thickness of the patch", "2,5")
    2.5
    """
    try:
        return float(typed.replace(",", "."))
    except ValueError:
        raise ClearingError(f"the {what}, {typed!r}, is not a number of millimetres") from None
