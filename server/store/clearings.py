"""The check before burnout as it was said: answers, clearings and what took them back, patches."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from sensors.clock import Millis
from server.store import engine as store
from server.store.check_tables import (
    CheckAnswerRow,
    ClearingRow,
    PatchRow,
    PatchUndoRow,
    ReopeningRow,
)
from server.store.tables import TreeEventRow, TreeRow
from server.store.trees import on_rack


@dataclass(frozen=True)
class Answered:
    """What a person answered to a question of the check, and when [shop ms]."""

    question: str
    yes: bool
    who: str
    at: Millis


@dataclass(frozen=True)
class Clearing:
    """A person's clearing of a tree: over which answer, why, and the check as it stood then.

    The last three say who took it back, when [shop ms] and why; None and "" while it stands.
    """

    id: int
    tree_id: int
    at: Millis
    who: str
    why: str
    answer: str
    sheet: dict[str, Any]
    reopened_at: Millis | None = None
    reopened_by: str = ""
    reopened_why: str = ""


@dataclass(frozen=True)
class NewPatch:
    """A patch as it is said: at which spot (its code), how thick and how wide [mm], where in words."""

    spot: str
    thickness_mm: float
    at: Millis
    size_mm: float | None = None
    where: str = ""


@dataclass(frozen=True)
class Patch:
    """A patch as it is kept; one that was taken back is marked."""

    id: int
    tree_id: int
    spot: str
    thickness_mm: float
    at: Millis
    said_at: Millis
    size_mm: float | None
    where: str
    who: str
    undone_at: Millis | None = None


def answers(engine: Engine, tree_id: int) -> list[Answered]:
    """Every answer that was given for a tree, in the order they came."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(CheckAnswerRow).where(CheckAnswerRow.tree_id == tree_id).order_by(col(CheckAnswerRow.id))
        )
        return [Answered(row.question, row.yes, row.who, row.at_ms) for row in rows]


def add_answers(engine: Engine, tree_id: int, said: dict[str, bool], who: str, now: Millis) -> None:
    """Keep answers, by question. Raises UnknownError or RefusedError where the tree is not on the rack."""
    with store.writing(engine) as session:
        on_rack(session, tree_id)
        session.add_all(
            CheckAnswerRow(tree_id=tree_id, question=question, yes=yes, who=who, at_ms=now)
            for question, yes in said.items()
        )


def clearings(engine: Engine, tree_id: int) -> list[Clearing]:
    """Every clearing of a tree, in order, those that were taken back too."""
    with store.reading(engine) as session:
        return _clearings(session, ClearingRow.tree_id == tree_id)


def clearings_between(engine: Engine, start: Millis, end: Millis) -> list[Clearing]:
    """Every clearing of the shop in [start, end) [ms], in order."""
    with store.reading(engine) as session:
        return _clearings(session, (col(ClearingRow.at_ms) >= start) & (col(ClearingRow.at_ms) < end))


def clear(
    engine: Engine, tree_id: int, who: str, why: str, answer: str, sheet: dict[str, Any], now: Millis
) -> Clearing:
    """Record that a person cleared a tree; it is off the rack and its hook free.

    Raises UnknownError where there is no such tree, RefusedError where it is off the rack already.
    """
    with store.writing(engine) as session:
        tree = on_rack(session, tree_id)
        tree.left_how = "cleared"
        session.add(tree)
        row = ClearingRow(tree_id=tree_id, at_ms=now, who=who, why=why, answer=answer, sheet=sheet)
        session.add(row)
        session.flush()
        _event(session, tree_id, "cleared", now, {"who": who, "why": why, "clearing": row.id})
        return _clearings(session, ClearingRow.id == row.id)[0]


def reopen(
    engine: Engine, tree_id: int, who: str, why: str, now: Millis, patch: NewPatch | None = None
) -> Clearing:
    """Take a tree's clearing back, and say the patch for which it was, if there is one.

    It hangs on the rack again, on its old hook where that is free, else on none (""). Raises UnknownError, or
    RefusedError where it was never cleared or stands on the rack.
    """
    with store.writing(engine) as session:
        tree = session.get(TreeRow, tree_id)
        if tree is None:
            raise store.UnknownError(f"there is no tree {tree_id}")
        if tree.left_how != "cleared":
            how = f"it was {tree.left_how}" if tree.left_how else "it is on the rack and not cleared"
            raise store.RefusedError(f"{tree.label} cannot be reopened: {how}")
        taken = (
            tree.hook
            and session.exec(
                select(TreeRow.id).where(TreeRow.hook == tree.hook, TreeRow.left_how == "")
            ).first()
        )
        tree.hook = "" if taken else tree.hook
        tree.left_how = ""
        session.add(tree)
        standing = [one for one in _clearings(session, ClearingRow.tree_id == tree_id) if not one.reopened_at]
        if not standing:
            raise store.RefusedError(f"{tree.label} has no clearing that could be taken back")
        session.add(ReopeningRow(clearing_id=standing[-1].id, at_ms=now, who=who, why=why))
        _event(session, tree_id, "reopened", now, {"who": who, "why": why})
        # From here on it hangs somewhere again: by this its stays and its hook are read.
        _event(session, tree_id, "amended", now, {"place": tree.place, "hook": tree.hook})
        if patch is not None:
            _add_patch(session, tree_id, patch, who, now)
        session.flush()
        return _clearings(session, ClearingRow.id == standing[-1].id)[0]


def patches(engine: Engine, tree_id: int) -> list[Patch]:
    """Every patch that was said of a tree, by time, those that were taken back too."""
    with store.reading(engine) as session:
        rows = session.exec(
            select(PatchRow, PatchUndoRow)
            .outerjoin(PatchUndoRow, col(PatchUndoRow.patch_id) == col(PatchRow.id))
            .where(PatchRow.tree_id == tree_id)
            .order_by(col(PatchRow.at_ms), col(PatchRow.id))
        )
        return [
            Patch(
                row.id or 0,
                row.tree_id,
                row.spot,
                row.thickness_mm,
                row.at_ms,
                row.said_ms,
                row.size_mm,
                row.place_words,
                row.who,
                None if undo is None else undo.at_ms,
            )
            for row, undo in rows
        ]


def add_patch(engine: Engine, tree_id: int, patch: NewPatch, who: str, now: Millis) -> None:
    """Record that a patch went on a tree that is on the rack. Raises UnknownError or RefusedError."""
    with store.writing(engine) as session:
        on_rack(session, tree_id)
        _add_patch(session, tree_id, patch, who, now)


def undo_patch(engine: Engine, tree_id: int, patch_id: int, now: Millis) -> None:
    """Take a patch back; once more changes nothing. Raises UnknownError, or RefusedError off the rack."""
    with store.writing(engine) as session:
        on_rack(session, tree_id)
        row = session.get(PatchRow, patch_id)
        if row is None or row.tree_id != tree_id:
            raise store.UnknownError(f"tree {tree_id} has no patch {patch_id}")
        if session.get(PatchUndoRow, patch_id) is None:
            session.add(PatchUndoRow(patch_id=patch_id, at_ms=now))


def _add_patch(session: Session, tree_id: int, patch: NewPatch, who: str, now: Millis) -> None:
    session.add(
        PatchRow(
            tree_id=tree_id,
            at_ms=patch.at,
            said_ms=now,
            spot=patch.spot,
            thickness_mm=patch.thickness_mm,
            size_mm=patch.size_mm,
            place_words=patch.where,
            who=who,
        )
    )
    said = {"spot": patch.spot, "thickness_mm": patch.thickness_mm, "where": patch.where, "who": who}
    session.add(TreeEventRow(tree_id=tree_id, kind="patched", at_ms=patch.at, said_ms=now, payload=said))


def _event(session: Session, tree_id: int, kind: str, now: Millis, payload: dict[str, Any]) -> None:
    session.add(TreeEventRow(tree_id=tree_id, kind=kind, at_ms=now, said_ms=now, payload=payload))


def _clearings(session: Session, which: object) -> list[Clearing]:
    rows = session.exec(
        select(ClearingRow, ReopeningRow)
        .outerjoin(ReopeningRow, col(ReopeningRow.clearing_id) == col(ClearingRow.id))
        .where(which)  # type: ignore[arg-type]
        .order_by(col(ClearingRow.at_ms), col(ClearingRow.id))
    )
    return [
        Clearing(
            row.id or 0,
            row.tree_id,
            row.at_ms,
            row.who,
            row.why,
            row.answer,
            row.sheet,
            None if back is None else back.at_ms,
            "" if back is None else back.who,
            "" if back is None else back.why,
        )
        for row, back in rows
    ]
