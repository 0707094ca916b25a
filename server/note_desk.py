"""Where a note or a photograph of a tree is written down or taken back, whoever says it."""

from dataclasses import dataclass

from sensors.clock import MINUTE_MS, Millis
from server import photographs
from server.dip_desk import known_tree
from server.parts import Parts
from server.store import notes as note_store
from server.store.engine import StoreError
from server.store.notes import NewNote, Note

LONGEST_NOTE = 2_000
"""The longest note [characters]."""

AHEAD_MS = MINUTE_MS
"""So far ahead a phone's clock may be before what it says is called the future [ms]."""


class NoteError(ValueError):
    """A note that cannot be kept: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class Noted:
    """What a person notes: words, a photograph as it was sent, or both. `at` is now where None."""

    words: str = ""
    photograph: bytes | None = None
    at: Millis | None = None
    key: str | None = None


def take_note(parts: Parts, tree_id: int, noted: Noted) -> tuple[Note, bool]:
    """Keep a note; also says whether it is a new one.

    Raises NoteError, PhotographError, UnknownError, RefusedError where the tree has enough, or FullDisk.
    """
    tree, now = known_tree(parts, tree_id), parts.clock.now()
    words = plain(noted.words)
    at = now if noted.at is None else noted.at
    if noted.photograph is None and not words:
        raise NoteError("there are neither words nor a photograph in the note")
    if at > now + AHEAD_MS:
        raise NoteError(f"the note of {tree.label} is {(at - now) // MINUTE_MS} min in the future")
    if noted.key is not None:
        said_before = note_store.note_with_key(parts.engine, tree_id, noted.key)
        if said_before is not None:
            return said_before, False
    if noted.photograph is None:
        return note_store.add_note(parts.engine, NewNote(tree_id, at, now, words, None, noted.key))
    # The file first: a note never points to a photograph that is not there.
    picture = photographs.keep(parts.data, photographs.prepare(noted.photograph))
    try:
        note, new = note_store.add_note(parts.engine, NewNote(tree_id, at, now, words, picture, noted.key))
    except StoreError:
        photographs.delete(parts.data, picture.name)
        raise
    if not new:  # another phone was quicker with the very same
        photographs.delete(parts.data, picture.name)
    return note, new


def undo_note(parts: Parts, tree_id: int, note_id: int) -> Note:
    """Take a note back, and delete its photograph's files. Raises UnknownError."""
    known_tree(parts, tree_id)
    note = note_store.undo_note(parts.engine, tree_id, note_id, parts.clock.now())
    if note.picture is not None:
        photographs.delete(parts.data, note.picture.name)
    return note


def plain(words: str) -> str:
    """Words as they are kept: lines ended alike, none of the signs that do not show. Raises NoteError.

    >>> plain(" thin at the beak \\r\\n patched ")
    'thin at the beak\\n patched'
    """
    lines = words.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    text = "\n".join(line.rstrip() for line in lines).strip()
    odd = next((sign for sign in text if (ord(sign) < 32 and sign not in "\n\t") or ord(sign) == 127), None)
    if odd is not None:
        raise NoteError(f"the note has a sign that is no text (U+{ord(odd):04X})")
    if len(text) > LONGEST_NOTE:
        raise NoteError(f"the note has {len(text)} characters; the limit is {LONGEST_NOTE}")
    return text
