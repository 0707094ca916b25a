"""Notes and photographs of a tree: the newest on its page, all of them on a page of their own."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.dip_desk import known_tree
from server.note_desk import LONGEST_NOTE
from server.pages.contexts import Frame, UndoPage
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words, sentence
from server.parts import Parts
from server.photographs import LARGEST_UPLOAD
from server.store import notes as note_store
from server.store.engine import UnknownError
from server.store.notes import Note

NEWEST = 3
"""Notes that stand on the tree's own page."""


@dataclass(frozen=True)
class NoteRow:
    """One note: its lines, when; its photograph, small and whole, "" for none; the way to take it back."""

    lines: tuple[str, ...]
    when: str
    small: str
    whole: str
    alt: str
    width: int
    height: int
    undo: str


@dataclass(frozen=True)
class NotesPage:
    """All notes of a tree, the newest first, and the form for another one."""

    frame: Frame
    label: str
    back: str
    fault: str
    action: str
    key: str
    words: str
    longest: int
    largest: str
    notes: tuple[NoteRow, ...]


def notes_page(parts: Parts, tree_id: int, fault: str = "", words: str = "") -> NotesPage:
    """The notes of a tree; `fault` says why one was not kept, `words` are what was written. UnknownError."""
    tree, shop = known_tree(parts, tree_id), shop_now(parts)
    said = note_store.notes(parts.engine, tree_id)
    return NotesPage(
        frame=frame(parts, shop, f"{tree.label}: notes"),
        label=tree.label,
        back=f"/trees/{tree_id}",
        fault=sentence(fault),
        action=f"/trees/{tree_id}/notes",
        key=f"page-{tree_id}-{len(said)}",
        words=words,
        longest=LONGEST_NOTE,
        largest=f"{LARGEST_UPLOAD // (1024 * 1024)} MB",
        notes=note_rows(shop, tree.label, said),
    )


def note_rows(shop: Shop, label: str, said: Sequence[Note]) -> tuple[NoteRow, ...]:
    """The notes that stand, the newest first."""
    return tuple(_row(shop, label, one) for one in reversed(said) if one.undone_at is None)


def notes_words(said: Sequence[Note]) -> str:
    """How many stand, for the way to all of them; empty where the tree's page shows them all."""
    standing = sum(one.undone_at is None for one in said)
    return f"All {standing} notes" if standing > NEWEST else ""


def undo_note_page(parts: Parts, tree_id: int, note_id: int) -> UndoPage:
    """Asks before a note is taken back. Raises UnknownError."""
    tree, shop = known_tree(parts, tree_id), shop_now(parts)
    note = note_store.note(parts.engine, tree_id, note_id)
    if note is None:
        raise UnknownError(f"{tree.label} has no note {note_id} that stands")
    what = "photograph" if note.picture else "note"
    return UndoPage(
        frame=frame(parts, shop, f"{tree.label}: take the {what} back?"),
        question=f"Take back the {what} of {tree.label} from {clock_words(note.at, shop.now, shop.zone)}?",
        then="The picture is deleted for good." if note.picture else "It is not shown any more.",
        action=f"/trees/{tree_id}/notes/{note_id}/undo",
        yes=f"Take the {what} back",
        back=f"/trees/{tree_id}/notes",
    )


def _row(shop: Shop, label: str, note: Note) -> NoteRow:
    picture, when = note.picture, clock_words(note.at, shop.now, shop.zone)
    source = f"/api/trees/{note.tree_id}/photographs/{note.id}"
    first = note.words.split("\n", 1)[0]
    return NoteRow(
        lines=tuple(note.words.split("\n")) if note.words else (),
        when=when,
        small=f"{source}?size=small" if picture else "",
        whole=source if picture else "",
        alt=f"Photograph of {label}, {when}{f': {first}' if first else ''}",
        width=picture.width_px if picture else 0,
        height=picture.height_px if picture else 0,
        undo=f"/trees/{note.tree_id}/notes/{note.id}/undo",
    )
