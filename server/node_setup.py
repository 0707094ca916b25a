"""Where a node is set up, whoever says it: its hook, its stated errors, the voltage of an empty battery."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from server.parts import Parts
from server.store import nodes, readings
from server.store.engine import RefusedError, UnknownError
from server.store.nodes import NodeSettings


def set_up(parts: Parts, place: str, node: str, said: Mapping[str, Any]) -> NodeSettings:
    """Keep what was said of a node and leave the rest; returns what holds now.

    said: fields of `NodeSettings` by name. Raises UnknownError where no such node was heard, RefusedError
    where the hook has another node's load cell.
    """
    if (place, node) not in {(one.place, one.node) for one in readings.nodes(parts.engine)}:
        raise UnknownError(f"no node {node} was heard at {place}")
    settings = nodes.node_settings(parts.engine)
    before = settings.get((place, node), NodeSettings(place, node))
    changed = dict(said)
    if "hook" in changed:
        changed["hook"] = (changed["hook"] or "").strip()
    after = replace(before, **changed)
    for one in settings.values():
        if after.hook and one.hook == after.hook and one.place == place and one.node != node:
            raise RefusedError(f"hook {after.hook} has the load cell of node {one.node} already")
    nodes.set_node(parts.engine, after)
    if (after.temp_error_c, after.rh_error_pct) != (before.temp_error_c, before.rh_error_pct):
        parts.rack.calibrated(place)  # the air is weighed by these errors
    return after
