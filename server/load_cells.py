"""What load cells say of the trees on their hooks, as weighings to learn from.

Nothing is kept of it: it comes again from the readings, the trees' stays on the hooks, and the dips.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sensors.clock import MINUTE_MS, Millis
from server.drying.hanging import AFTER_MIN, hung_points
from server.drying.learning import Told
from server.drying.weighing import LOAD_CELL_ERROR_KG
from server.following import coat_dip
from server.store import dips as dip_store
from server.store import nodes, readings, trees
from server.store.engine import Engine
from server.store.values import Tree, TreeEvent
from server.tree_record import CoatDip

COATS = 3
"""So many of a tree's newest coats are learned from by its cell, to bound the work (assumed)."""


@dataclass(frozen=True)
class Hang:
    """From `since` up to `until` [ms] a tree hung on a hook of a place; None: it still does."""

    place: str
    hook: str
    since: Millis
    until: Millis | None


def hangs(events: Iterable[TreeEvent]) -> list[Hang]:
    """Where a tree hung, by what was said of it, in order.

    >>> added = TreeEvent("added", 5, 5, {"place": "cellar", "hook": "A1"})
    >>> moved = TreeEvent("amended", 9, 9, {"hook": "A2"})
    >>> [(one.hook, one.since, one.until) for one in hangs([added, moved, TreeEvent("cleared", 12, 12, {})])]
    [('A1', 5, 9), ('A2', 9, 12)]
    """
    found: list[Hang] = []
    place = hook = ""
    for event in events:
        moved = event.kind in ("added", "amended") and not {"place", "hook"}.isdisjoint(event.payload)
        if not moved and event.kind not in ("cleared", "scrapped"):
            continue
        if found and found[-1].until is None:
            found[-1] = Hang(found[-1].place, found[-1].hook, found[-1].since, event.at)
        if moved:
            place = str(event.payload.get("place") or place)
            hook = str(event.payload.get("hook", hook) or "")
            found.append(Hang(place, hook, event.at, None))
    return found


def hooks(engine: Engine, place: str) -> dict[str, str]:
    """The hooks of a place that have a load cell, each with its node; of two on one, the first by name."""
    found: dict[str, str] = {}
    for (where, node), said in nodes.node_settings(engine).items():
        if where == place and said.hook:
            found.setdefault(said.hook, node)
    return found


def cell_points(
    engine: Engine, tree: Tree, dips: Sequence[CoatDip], place: str, now: Millis
) -> list[tuple[Millis, Told]]:
    """The points of the load cell under a tree's newest coats that dried in a place, by time, up to now [ms].

    Each has a number of its own below nought: those from one up are measurements that a person said.
    """
    cells = hooks(engine, place)
    if not cells or not dips:
        return []
    stays = hangs(trees.events(engine, tree.id))
    found = []
    ends = [dip.at for dip in dips[1:]] + [now]
    for dip, end in list(zip(dips, ends, strict=True))[-COATS:]:
        stay = next((one for one in reversed(stays) if one.since <= dip.at + AFTER_MIN[0] * MINUTE_MS), None)
        if stay is None or stay.place != place or stay.hook not in cells:
            continue
        until = min(end, now, end if stay.until is None else stay.until)
        said_there = [
            (one.time, one.value)
            for one in readings.place_readings(engine, place, max(dip.at, stay.since), until, ("mass",))
            if one.node == cells[stay.hook]
        ]
        coat_kg = None if tree.area_m2 is None else dip.material.water_kg_m2 * tree.area_m2
        for index, (at, kg) in enumerate(hung_points(said_there, dip.at, until, coat_kg)):
            number = -(tree.id * 1000 + dip.number * 10 + index)
            found.append((at, Told(number, "weighing", "face", dip.number, kg, LOAD_CELL_ERROR_KG)))
    return found


def points_of_coat(engine: Engine, tree: Tree, coat: int, now: Millis) -> int:
    """How many points the load cell under a tree has of one coat, up to now [ms]."""
    dips = tuple(coat_dip(tree, dip) for dip in dip_store.dips(engine, tree.id))
    return sum(1 for _, told in cell_points(engine, tree, dips, tree.place, now) if told.coat == coat)
