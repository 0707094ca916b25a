"""What people noted of a tree, on the rack or off it: words, photographs, or both."""

from dataclasses import dataclass

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.notes_tables import TreeNoteRow, TreeNoteUndoRow
from server.store.tables import TreeRow

MOST_NOTES = 400
"""Notes that may stand of one tree, with its photographs; assumed: ten coats leave room for forty each."""

MOST_PHOTOGRAPHS = 80
"""Photographs that may stand of one tree: some 40 MB of the data folder at half a megabyte each; assumed."""


@dataclass(frozen=True)
class Picture:
    """A photograph as it is kept: the name of its file, and its size [px]."""

    name: str
    width_px: int
    height_px: int


@dataclass(frozen=True)
class NewNote:
    """What a person noted, of a time `at`, said at `said_at` [shop ms]; words, a photograph, or both."""

    tree_id: int
    at: Millis
    said_at: Millis
    words: str
    picture: Picture | None = None
    key: str | None = None


@dataclass(frozen=True)
class Note:
    """A note as it is kept; one that was taken back is marked."""

    id: int
    tree_id: int
    at: Millis
    said_at: Millis
    words: str
    picture: Picture | None
    undone_at: Millis | None = None


def notes(engine: Engine, tree_id: int) -> list[Note]:
    """Everything that was noted of a tree, by time, what was taken back too."""
    with store.reading(engine) as session:
        return _notes(session, TreeNoteRow.tree_id == tree_id)


def note(engine: Engine, tree_id: int, note_id: int) -> Note | None:
    """One note that stands, None where there is none of that id on that tree."""
    with store.reading(engine) as session:
        found = _notes(session, (TreeNoteRow.id == note_id) & (TreeNoteRow.tree_id == tree_id))
    return found[0] if found and found[0].undone_at is None else None


def note_with_key(engine: Engine, tree_id: int, key: str) -> Note | None:
    """The note that was said under that key, None where none was."""
    with store.reading(engine) as session:
        found = _notes(session, (TreeNoteRow.key == key) & (TreeNoteRow.tree_id == tree_id))
    return found[0] if found else None


def add_note(engine: Engine, new: NewNote) -> tuple[Note, bool]:
    """Keep a note; the same key again gives the first one. Also says whether it is a new one.

    Raises UnknownError where there is no such tree, RefusedError where it has as many as there may be.
    """
    with store.writing(engine) as session:
        tree = session.get(TreeRow, new.tree_id)
        if tree is None:
            raise store.UnknownError(f"there is no tree {new.tree_id}")
        kept = _notes(session, TreeNoteRow.tree_id == new.tree_id)
        if new.key is not None:
            row = session.exec(
                select(TreeNoteRow.id).where(TreeNoteRow.tree_id == new.tree_id, TreeNoteRow.key == new.key)
            ).first()
            if row is not None:
                return next(one for one in kept if one.id == row), False
        standing = [one for one in kept if one.undone_at is None]
        pictures = sum(one.picture is not None for one in standing)
        if len(standing) >= MOST_NOTES:
            raise store.RefusedError(f"{tree.label} has {len(standing)} notes; the limit is {MOST_NOTES}")
        if new.picture is not None and pictures >= MOST_PHOTOGRAPHS:
            raise store.RefusedError(
                f"{tree.label} has {pictures} photographs; the limit is {MOST_PHOTOGRAPHS}: take one back"
            )
        fresh = TreeNoteRow(
            tree_id=new.tree_id,
            at_ms=new.at,
            said_ms=new.said_at,
            words=new.words,
            picture=new.picture.name if new.picture else "",
            width_px=new.picture.width_px if new.picture else 0,
            height_px=new.picture.height_px if new.picture else 0,
            key=new.key,
        )
        session.add(fresh)
        session.flush()
        return _notes(session, TreeNoteRow.id == fresh.id)[0], True


def undo_note(engine: Engine, tree_id: int, note_id: int, at: Millis) -> Note:
    """Take a note back; once more changes nothing. Raises UnknownError."""
    with store.writing(engine) as session:
        found = _notes(session, (TreeNoteRow.id == note_id) & (TreeNoteRow.tree_id == tree_id))
        if not found:
            raise store.UnknownError(f"tree {tree_id} has no note {note_id}")
        if found[0].undone_at is None:
            session.add(TreeNoteUndoRow(note_id=note_id, at_ms=at))
            session.flush()
        return _notes(session, TreeNoteRow.id == note_id)[0]


def _notes(session: Session, which: object) -> list[Note]:
    rows = session.exec(
        select(TreeNoteRow, TreeNoteUndoRow)
        .outerjoin(TreeNoteUndoRow, col(TreeNoteUndoRow.note_id) == col(TreeNoteRow.id))
        .where(which)  # type: ignore[arg-type]
        .order_by(col(TreeNoteRow.at_ms), col(TreeNoteRow.id))
    )
    return [
        Note(
            row.id or 0,
            row.tree_id,
            row.at_ms,
            row.said_ms,
            row.words,
            Picture(row.picture, row.width_px, row.height_px) if row.picture else None,
            None if undo is None else undo.at_ms,
        )
        for row, undo in rows
    ]
