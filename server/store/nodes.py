"""How nodes are set up: the hook of a load cell, the stated errors, the voltage of an empty battery."""

from dataclasses import dataclass

from sqlmodel import col, select

from server.store.engine import Engine, reading, writing
from server.store.node_tables import NodeRow


@dataclass(frozen=True)
class NodeSettings:
    """What is set for a node; None where the usual value holds.

    hook: where its load cell hangs, "" for none. temp_error_c, rh_error_pct: its stated errors [K, %RH].
    battery_low_v: the voltage at which it stops [V].
    """

    place: str
    node: str
    hook: str = ""
    temp_error_c: float | None = None
    rh_error_pct: float | None = None
    battery_low_v: float | None = None


def node_settings(engine: Engine) -> dict[tuple[str, str], NodeSettings]:
    """The settings of each (place, node) that has any."""
    with reading(engine) as session:
        rows = session.exec(select(NodeRow).order_by(col(NodeRow.place), col(NodeRow.node)))
        return {(row.place, row.node): _settings(row) for row in rows}


def set_node(engine: Engine, settings: NodeSettings) -> None:
    """Keep the settings of a node, in place of those before."""
    with writing(engine) as session:
        session.merge(
            NodeRow(
                place=settings.place,
                node=settings.node,
                hook=settings.hook,
                temp_error_c=settings.temp_error_c,
                rh_error_pct=settings.rh_error_pct,
                battery_low_v=settings.battery_low_v,
            )
        )


def _settings(row: NodeRow) -> NodeSettings:
    return NodeSettings(row.place, row.node, row.hook, row.temp_error_c, row.rh_error_pct, row.battery_low_v)
