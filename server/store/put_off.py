"""What people put off: to be reminded of a tree once more, unless it was dipped meanwhile."""

from sqlalchemy import Engine, func
from sqlmodel import col, select

from scheduler.ledger import PutOff
from sensors.clock import Millis
from server.store import engine as store
from server.store.told_tables import PutOffRow


def add_put_off(engine: Engine, tree_id: int, dipped_at: Millis, now: Millis, until: Millis) -> PutOff:
    """Keep that a tree was put off; it takes the place of what was asked of this tree before."""
    with store.writing(engine) as session:
        row = PutOffRow(tree_id=tree_id, dipped_ms=dipped_at, said_ms=now, until_ms=until)
        session.add(row)
        session.flush()
        return _put_off(row)


def put_offs(engine: Engine) -> dict[int, PutOff]:
    """The latest of each tree that was ever put off, by its tree."""
    latest = select(func.max(PutOffRow.id)).group_by(col(PutOffRow.tree_id))
    with store.reading(engine) as session:
        rows = session.exec(select(PutOffRow).where(col(PutOffRow.id).in_(latest)))
        return {row.tree_id: _put_off(row) for row in rows}


def _put_off(row: PutOffRow) -> PutOff:
    return PutOff(row.id or 0, row.tree_id, row.dipped_ms, row.until_ms)
