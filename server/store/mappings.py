"""How other makers' payloads are read, as the shop has set it. A mapping that was removed keeps its row."""

from dataclasses import asdict, dataclass
from typing import Any, cast

from sqlmodel import col, select

from sensors.clock import Millis
from sensors.mapping import Field, Format, Mapping, TimeField
from server.store.engine import Engine, RefusedError, UnknownError, reading, writing
from server.store.node_tables import MappingRow

_TIME = "time"


@dataclass(frozen=True)
class KeptMapping:
    """A mapping in use, and since when [ms]."""

    id: int
    mapping: Mapping
    created: Millis


def mappings(engine: Engine) -> list[KeptMapping]:
    """Every mapping in use, in the order in which they are tried: the oldest first."""
    with reading(engine) as session:
        rows = session.exec(
            select(MappingRow).where(col(MappingRow.removed_ms).is_(None)).order_by(col(MappingRow.id))
        )
        return [KeptMapping(row.id or 0, _mapping(row), row.created_ms) for row in rows]


def add_mapping(engine: Engine, new: Mapping, now: Millis) -> KeptMapping:
    """Keep a mapping. Raises RefusedError where one with the same topic filter is in use."""
    with writing(engine) as session:
        taken = session.exec(
            select(MappingRow).where(
                col(MappingRow.removed_ms).is_(None), col(MappingRow.topic_filter) == new.topic_filter
            )
        ).first()
        if taken is not None:
            raise RefusedError(
                f"topic filter {new.topic_filter!r} has a mapping already, number {taken.id}: remove it first"
            )
        fields: list[dict[str, Any]] = [asdict(field) for field in new.fields]
        if new.time is not None:
            fields.append({"name": _TIME, **asdict(new.time)})
        row = MappingRow(
            topic_filter=new.topic_filter,
            place=new.place,
            node=new.node,
            format=new.format,
            fields=fields,
            created_ms=now,
        )
        session.add(row)
        session.flush()
        return KeptMapping(row.id or 0, new, now)


def remove_mapping(engine: Engine, mapping_id: int, now: Millis) -> None:
    """Use a mapping no more; what it read stays. Raises UnknownError where none of that id is in use."""
    with writing(engine) as session:
        row = session.get(MappingRow, mapping_id)
        if row is None or row.removed_ms is not None:
            raise UnknownError(f"there is no mapping {mapping_id}")
        row.removed_ms = now
        session.add(row)


def _mapping(row: MappingRow) -> Mapping:
    figures = tuple(Field(**field) for field in row.fields if field["name"] != _TIME)
    times = [TimeField(field["pointer"], field["unit"]) for field in row.fields if field["name"] == _TIME]
    form = cast(Format, row.format)
    return Mapping(row.topic_filter, row.place, row.node, form, figures, times[0] if times else None)
