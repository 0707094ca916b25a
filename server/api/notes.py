"""Notes and photographs of a tree, over HTTP: keeping one, taking it back, and the pictures themselves."""

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, File, Form, Header, Path, Query, Response, UploadFile
from fastapi.responses import FileResponse
from pydantic import BaseModel, Field

from server import photographs
from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, Moment, Wire, maybe_datetime, to_datetime, to_millis
from server.api.trees import TreeId
from server.dip_desk import known_tree
from server.note_desk import LONGEST_NOTE, Noted, NoteError, take_note, undo_note
from server.parts import Parts
from server.photographs import LARGEST_UPLOAD, PhotographError
from server.store import notes as note_store
from server.store.engine import UnknownError
from server.store.notes import Note

Key = Annotated[
    str | None,
    Header(alias="Idempotency-Key", min_length=1, max_length=200, pattern=r"^[!-~]+$"),
]
NoteId = Annotated[int, Path(ge=1, le=LARGEST_ID, description="a note's id")]

IMMUTABLE = {"Cache-Control": "private, max-age=31536000, immutable"}
"""A photograph never changes; it is for this browser alone."""


class NoteRequest(Wire):
    """What is noted, now or `at`; lines end with a line feed."""

    at: Moment | None = None
    words: Annotated[str, Field(min_length=1, max_length=LONGEST_NOTE)]


class PhotographShape(BaseModel):
    """Where a photograph is to be had, and its size."""

    href: str
    width_px: int
    height_px: int


class NoteShape(BaseModel):
    """A note as it is kept; one that was taken back has no photograph any more."""

    id: int
    at: datetime
    said_at: datetime
    words: str
    photograph: PhotographShape | None
    undone_at: datetime | None


class NotesAnswer(BaseModel):
    """Everything that was noted of a tree, by time, what was taken back too."""

    notes: list[NoteShape]


def notes_router(parts: Parts) -> APIRouter:
    """The calls of notes."""
    router = APIRouter(prefix="/api/trees/{tree_id}", tags=["notes"])
    answers = documented(404, 409, 413, 507) | {200: {"description": "Said before", "model": NoteShape}}

    def keep(tree_id: int, noted: Noted, response: Response) -> NoteShape:
        try:
            note, new = take_note(parts, tree_id, noted)
        except (NoteError, PhotographError) as error:
            raise ProblemError(422, str(error), "note") from error
        response.status_code = 201 if new else 200
        return _shape(note)

    @router.get("/notes", responses=documented(404))
    def notes(tree_id: TreeId) -> NotesAnswer:
        """Notes and photographs of a tree, on the rack or off it."""
        known_tree(parts, tree_id)
        return NotesAnswer(notes=[_shape(one) for one in note_store.notes(parts.engine, tree_id)])

    @router.post("/notes", status_code=201, responses=answers)
    def note(tree_id: TreeId, request: NoteRequest, response: Response, key: Key = None) -> NoteShape:
        """Note something of a tree. The same Idempotency-Key again is the same note."""
        at = None if request.at is None else to_millis(request.at)
        return keep(tree_id, Noted(request.words, None, at, key), response)

    @router.post("/photographs", status_code=201, responses=answers)
    def photograph(
        tree_id: TreeId,
        response: Response,
        photograph: Annotated[UploadFile, File(description="JPEG, PNG or WebP, up to 12 MiB")],
        words: Annotated[str, Form(max_length=LONGEST_NOTE)] = "",
        key: Key = None,
    ) -> NoteShape:
        """Keep a photograph: made small, upright, and bare of place, time and camera."""
        return keep(tree_id, Noted(words, photograph.file.read(LARGEST_UPLOAD + 1), None, key), response)

    @router.delete("/notes/{note_id}", responses=documented(404))
    def undo(tree_id: TreeId, note_id: NoteId) -> NoteShape:
        """Take a note back; the files of its photograph are deleted. Once more changes nothing."""
        return _shape(undo_note(parts, tree_id, note_id))

    @router.get(
        "/photographs/{note_id}",
        response_class=FileResponse,
        responses=documented(404) | {200: {"content": {"image/jpeg": {}}, "description": "The picture"}},
    )
    def picture(
        tree_id: TreeId,
        note_id: NoteId,
        size: Annotated[Literal["small", "whole"], Query(description="how large")] = "whole",
    ) -> Response:
        """The photograph of a note as a JPEG, whole (up to 2048 px) or small (up to 480 px)."""
        note = note_store.note(parts.engine, tree_id, note_id)
        if note is None or note.picture is None:
            raise UnknownError(f"tree {tree_id} has no photograph {note_id}")
        path = photographs.file_of(parts.data, note.picture.name, small=size == "small")
        if not path.is_file():
            raise UnknownError(f"the file of photograph {note_id} is not in the data folder any more")
        return FileResponse(path, media_type="image/jpeg", headers=IMMUTABLE)

    return router


def _shape(note: Note) -> NoteShape:
    picture = note.picture
    return NoteShape(
        id=note.id,
        at=to_datetime(note.at),
        said_at=to_datetime(note.said_at),
        words=note.words,
        photograph=PhotographShape(
            href=f"/api/trees/{note.tree_id}/photographs/{note.id}",
            width_px=picture.width_px,
            height_px=picture.height_px,
        )
        if picture and note.undone_at is None
        else None,
        undone_at=maybe_datetime(note.undone_at),
    )
