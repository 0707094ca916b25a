"""The addresses of the pages. A form changes something and sends the browser on to a page that shows it
(303)."""

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Path, Response
from fastapi.responses import RedirectResponse

from sensors.clock import MINUTE_MS, Millis
from server.api.problems import ProblemError
from server.api.schemas import LARGEST_ID, Name, Note
from server.api.trees import TreeId
from server.dip_desk import Kept, Saying, take_dip, undo_dip
from server.dipping import Question
from server.pages.air import Span, air_page, name_place
from server.pages.contexts import ProblemPage
from server.pages.frame import frame, shop_now
from server.pages.phone_files import phone_files
from server.pages.rack import rack_page
from server.pages.render import show
from server.pages.shop import shop_page
from server.pages.tree import question_page, tree_page, undo_page
from server.pages.wording import sentence
from server.parts import Parts

DipId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Tick = Annotated[bool, Form()]
Ago = Annotated[int, Form(ge=0, le=7 * 24 * 60)]
At = Annotated[Millis | None, Form(ge=0, le=2**53)]


def page_router(parts: Parts) -> APIRouter:
    """The pages over these parts."""
    router = APIRouter(include_in_schema=False)
    router.include_router(phone_files())

    @router.get("/")
    def rack() -> Response:
        return show(rack_page(parts))

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

    @router.get("/trees/{tree_id}")
    def tree(tree_id: TreeId, what_if: Literal["", "yes"] = "") -> Response:
        return show(tree_page(parts, tree_id, bool(what_if)))

    @router.post("/trees/{tree_id}/dips")
    def dip(
        tree_id: TreeId,
        at: At = None,
        ago_min: Ago = 0,
        pot: Annotated[Note, Form()] = "",
        note: Annotated[Note, Form()] = "",
        prewet: Tick = False,
        partial: Tick = False,
        confirm: Tick = False,
        key: Annotated[str, Form(max_length=200)] = "",
        coat: Annotated[int | None, Form(ge=1, le=99)] = None,
    ) -> Response:
        when = at if at is not None else parts.clock.now() - ago_min * MINUTE_MS if ago_min else None
        saying = Saying(when, pot[:60] or None, prewet, partial, note or None, confirm, key or None, coat)
        match take_dip(parts, tree_id, saying):
            case Kept():
                return _onward(tree_id)
            case Question(question=question):
                return show(question_page(parts, tree_id, question, saying), 409)
            case refusal:
                around = frame(parts, shop_now(parts), "Not written down")
                page = ProblemPage(
                    around, sentence(refusal.reason), "No dip was written down.", f"/trees/{tree_id}"
                )
                return show(page, 409 if refusal.conflict else 422)

    @router.get("/trees/{tree_id}/dips/{dip_id}/undo")
    def ask_undo(tree_id: TreeId, dip_id: DipId) -> Response:
        return show(undo_page(parts, tree_id, dip_id))

    @router.post("/trees/{tree_id}/dips/{dip_id}/undo")
    def undo(tree_id: TreeId, dip_id: DipId) -> Response:
        undo_dip(parts, tree_id, dip_id)
        return _onward(tree_id)

    @router.get("/favicon.ico")
    def icon() -> Response:
        raise ProblemError(404, "there is no such page")

    return router


def _onward(tree_id: int) -> RedirectResponse:
    return RedirectResponse(f"/trees/{tree_id}", status_code=303)
