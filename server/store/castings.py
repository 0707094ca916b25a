"""What came of castings, how coats went, and what had been forecast of them: what the history teaches."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from sqlalchemy import Engine
from sqlmodel import col, select

from scheduler.forecast import Quantiles
from sensors.clock import Millis
from server.store import engine as store
from server.store.check_tables import CastingRow, CastingUndoRow, CoatWentRow, DipForecastRow
from server.store.tables import TreeRow

Outcome = Literal["sound", "fin", "run-out", "crack", "other"]

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)


@dataclass(frozen=True)
class NewCasting:
    """What a person says of a casting. `spot` is the code of one of the tree's spots, "" for none."""

    outcome: Outcome
    who: str
    spot: str = ""
    where: str = ""
    note: str = ""


@dataclass(frozen=True)
class Casting:
    """What came of a casting, as it is kept; what was taken back is marked."""

    id: int
    tree_id: int
    said_at: Millis
    outcome: str
    who: str
    spot: str
    where: str
    note: str
    undone_at: Millis | None = None


@dataclass(frozen=True)
class KeptCoat:
    """How a coat went, as judged at `kept_at` when the next one came at `until` [ms]; `verdict` as JSON."""

    tree_id: int
    at: Millis
    until: Millis
    kept_at: Millis
    verdict: dict[str, Any]


@dataclass(frozen=True)
class DipForecast:
    """What was forecast of a coat just after its dip: when it comes fit."""

    dip_id: int
    made_at: Millis
    fit_at: Quantiles


def castings(engine: Engine, tree_id: int | None = None) -> list[Casting]:
    """What came of the castings of a tree, or of all, in the order it was said."""
    with store.reading(engine) as session:
        asked = select(CastingRow, CastingUndoRow).outerjoin(
            CastingUndoRow, col(CastingUndoRow.casting_id) == col(CastingRow.id)
        )
        if tree_id is not None:
            asked = asked.where(CastingRow.tree_id == tree_id)
        return [
            Casting(
                row.id or 0,
                row.tree_id,
                row.said_ms,
                row.outcome,
                row.who,
                row.spot,
                row.place_words,
                row.note,
                None if undo is None else undo.at_ms,
            )
            for row, undo in session.exec(asked.order_by(col(CastingRow.id)))
        ]


def add_casting(engine: Engine, tree_id: int, new: NewCasting, now: Millis) -> Casting:
    """Keep what came of a casting. Raises UnknownError, or RefusedError where the tree is not cleared."""
    with store.writing(engine) as session:
        tree = session.get(TreeRow, tree_id)
        if tree is None:
            raise store.UnknownError(f"there is no tree {tree_id}")
        if tree.left_how != "cleared":
            how = f"was {tree.left_how}" if tree.left_how else "is not cleared yet"
            raise store.RefusedError(f"nothing can have come of casting {tree.label}: it {how}")
        row = CastingRow(
            tree_id=tree_id,
            said_ms=now,
            outcome=new.outcome,
            spot=new.spot,
            place_words=new.where,
            note=new.note,
            who=new.who,
        )
        session.add(row)
        session.flush()
        return Casting(row.id or 0, tree_id, now, new.outcome, new.who, new.spot, new.where, new.note)


def undo_casting(engine: Engine, tree_id: int, casting_id: int, now: Millis) -> None:
    """Take back what was said of a casting; once more changes nothing. Raises UnknownError."""
    with store.writing(engine) as session:
        row = session.get(CastingRow, casting_id)
        if row is None or row.tree_id != tree_id:
            raise store.UnknownError(f"tree {tree_id} has no casting {casting_id}")
        if session.get(CastingUndoRow, casting_id) is None:
            session.add(CastingUndoRow(casting_id=casting_id, at_ms=now))


def kept_coats(engine: Engine, tree_id: int | None = None) -> list[KeptCoat]:
    """How the coats of a tree went, or of all trees, by tree and time."""
    with store.reading(engine) as session:
        asked = select(CoatWentRow)
        if tree_id is not None:
            asked = asked.where(CoatWentRow.tree_id == tree_id)
        rows = session.exec(asked.order_by(col(CoatWentRow.tree_id), col(CoatWentRow.at_ms)))
        return [KeptCoat(row.tree_id, row.at_ms, row.until_ms, row.kept_ms, row.verdict) for row in rows]


def kept_untils(engine: Engine) -> dict[tuple[int, Millis], Millis]:
    """For each coat that is kept, by tree and time, until when it went [ms]."""
    with store.reading(engine) as session:
        rows = session.exec(select(CoatWentRow.tree_id, CoatWentRow.at_ms, CoatWentRow.until_ms))
        return {(tree_id, at): until for tree_id, at, until in rows}


def keep_coats(engine: Engine, coats: Sequence[KeptCoat]) -> None:
    """Keep how coats went; one that is kept already is replaced."""
    if not coats:
        return
    with store.writing(engine) as session:
        for coat in coats:
            session.merge(
                CoatWentRow(
                    tree_id=coat.tree_id,
                    at_ms=coat.at,
                    until_ms=coat.until,
                    kept_ms=coat.kept_at,
                    verdict=coat.verdict,
                )
            )


def forecasts(engine: Engine) -> dict[int, DipForecast]:
    """What was forecast of each coat just after its dip, by the dip's id."""
    with store.reading(engine) as session:
        return {
            row.dip_id: DipForecast(row.dip_id, row.made_ms, Quantiles(row.p10_ms, row.p50_ms, row.p90_ms))
            for row in session.exec(select(DipForecastRow))
        }


def keep_forecasts(engine: Engine, made: Sequence[DipForecast]) -> None:
    """Keep forecasts; of one that is kept already the first stays."""
    if not made:
        return
    with store.writing(engine) as session:
        for one in made:
            if session.get(DipForecastRow, one.dip_id) is None:
                session.add(
                    DipForecastRow(
                        dip_id=one.dip_id,
                        made_ms=one.made_at,
                        p10_ms=one.fit_at.p10,
                        p50_ms=one.fit_at.p50,
                        p90_ms=one.fit_at.p90,
                    )
                )
