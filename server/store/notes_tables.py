"""The tables of what people note of a tree: words, photographs, and what was taken back."""

from sqlalchemy import BigInteger, Column, ForeignKey, Text
from sqlalchemy import UniqueConstraint as Unique
from sqlmodel import Field

from server.store.tables import Row


class TreeNoteRow(Row, table=True):
    """A note, a photograph, or both. `picture` is the name of its file in the data folder, "" for none."""

    __tablename__ = "tree_note"
    __table_args__ = (Unique("tree_id", "key"),)
    id: int | None = Field(default=None, primary_key=True)
    tree_id: int = Field(foreign_key="tree.id", index=True)
    at_ms: int = Field(sa_type=BigInteger)
    said_ms: int = Field(sa_type=BigInteger)
    words: str = Field(sa_type=Text)
    picture: str = ""
    width_px: int = 0
    height_px: int = 0
    key: str | None = None


class TreeNoteUndoRow(Row, table=True):
    """A note was taken back: a row of its own. The files of its photograph are deleted."""

    __tablename__ = "tree_note_undo"
    note_id: int = Field(sa_column=Column(ForeignKey("tree_note.id"), primary_key=True, autoincrement=False))
    at_ms: int = Field(sa_type=BigInteger)
