"""The addresses of a tree's pages. A form changes something and sends the browser on to a page (303)."""

from typing import Annotated, Literal

from fastapi import APIRouter, File, Form, Path, Query, Response, UploadFile
from fastapi.responses import RedirectResponse

from sensors.clock import MINUTE_MS, Millis
from server.api.schemas import LARGEST_ID, Name, Note, Slug
from server.api.trees import TreeId
from server.dip_desk import Kept, Saying, take_dip, undo_dip
from server.dipping import Question
from server.note_desk import Noted, NoteError, take_note, undo_note
from server.pages.contexts import ProblemPage
from server.pages.frame import frame, shop_now
from server.pages.render import show
from server.pages.tree import question_page, tree_page, undo_page
from server.pages.tree_changes import (
    Moved,
    change,
    change_page,
    hang_again,
    left_page,
    scrap,
    scrap_page,
)
from server.pages.tree_notes import notes_page, undo_note_page
from server.pages.wording import sentence
from server.parts import Parts
from server.photographs import LARGEST_UPLOAD, PhotographError

DipId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
NoteId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Tick = Annotated[bool, Form()]
Ago = Annotated[int, Form(ge=0, le=7 * 24 * 60)]
At = Annotated[Millis | None, Form(ge=0, le=2**53)]
SpotAsked = Annotated[str, Query(max_length=40)]
LongNote = Annotated[str, Form(max_length=10_000)]


def tree_pages(parts: Parts) -> APIRouter:
    """The pages of a tree over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/trees/left")
    def left() -> Response:
        return show(left_page(parts))

    @router.get("/trees/{tree_id}")
    def tree(
        tree_id: TreeId,
        what_if: Literal["", "yes"] = "",
        spot: SpotAsked = "",
        coats: Literal["", "all"] = "",
    ) -> Response:
        return show(tree_page(parts, tree_id, bool(what_if), spot, bool(coats)))

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

    @router.get("/trees/{tree_id}/notes")
    def notes(tree_id: TreeId) -> Response:
        return show(notes_page(parts, tree_id))

    @router.post("/trees/{tree_id}/notes")
    def note(
        tree_id: TreeId,
        words: LongNote = "",
        key: Annotated[str, Form(max_length=200)] = "",
        photograph: Annotated[list[UploadFile] | None, File(max_length=2)] = None,
    ) -> Response:
        sent = next((one for one in photograph or () if one.size), None)
        # One byte more than is taken is enough to know that it is too large.
        picture = None if sent is None else sent.file.read(LARGEST_UPLOAD + 1)
        try:
            take_note(parts, tree_id, Noted(words, picture, key=key or None))
        except (NoteError, PhotographError) as error:
            return show(notes_page(parts, tree_id, str(error), words), 422)
        return RedirectResponse(f"/trees/{tree_id}/notes", status_code=303)

    @router.get("/trees/{tree_id}/notes/{note_id}/undo")
    def ask_undo_note(tree_id: TreeId, note_id: NoteId) -> Response:
        return show(undo_note_page(parts, tree_id, note_id))

    @router.post("/trees/{tree_id}/notes/{note_id}/undo")
    def take_note_back(tree_id: TreeId, note_id: NoteId) -> Response:
        undo_note(parts, tree_id, note_id)
        return RedirectResponse(f"/trees/{tree_id}/notes", status_code=303)

    @router.get("/trees/{tree_id}/change")
    def ask_change(tree_id: TreeId) -> Response:
        return show(change_page(parts, tree_id))

    @router.post("/trees/{tree_id}/change")
    def move(
        tree_id: TreeId,
        label: Annotated[Name, Form()],
        hook: Annotated[Name, Form()],
        place: Annotated[Slug, Form()],
        recipe: Annotated[int, Form(ge=1, le=LARGEST_ID)],
    ) -> Response:
        said = Moved(label, hook, place, recipe)
        fault = change(parts, tree_id, said)
        return show(change_page(parts, tree_id, said, fault), 409) if fault else _onward(tree_id)

    @router.get("/trees/{tree_id}/scrap")
    def ask_scrap(tree_id: TreeId) -> Response:
        return show(scrap_page(parts, tree_id))

    @router.post("/trees/{tree_id}/scrap")
    def scrap_it(
        tree_id: TreeId, why: Annotated[Note, Form()] = "", who: Annotated[Note, Form()] = ""
    ) -> Response:
        if not why:
            return show(scrap_page(parts, tree_id, why, who, "say in a word why: nothing was changed"), 422)
        scrap(parts, tree_id, why, who)
        return _onward(tree_id)

    @router.post("/trees/{tree_id}/hang")
    def hang(tree_id: TreeId, hook: Annotated[Name, Form()]) -> Response:
        hang_again(parts, tree_id, hook)
        return _onward(tree_id)

    return router


def _onward(tree_id: int) -> RedirectResponse:
    return RedirectResponse(f"/trees/{tree_id}", status_code=303)
