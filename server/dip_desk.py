"""Where a dip is written down, whoever says it: asks the rules, keeps the dip, and has the tree judged
anew."""

from dataclasses import dataclass

from scheduler.forecast import Outlook
from sensors.clock import Millis
from server.dipping import Allowed, Question, Refusal, decide
from server.load_cells import points_of_coat
from server.parts import Parts
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.engine import UnknownError
from server.store.values import Dip, NewDip, Tree


@dataclass(frozen=True)
class Saying:
    """What a person says of a dip. `key` names the saying: said again under the same key it is the same
    dip. `coat` is the one they believe that it is, where they said so."""

    at: Millis | None = None
    pot: str | None = None
    prewet: bool = False
    partial: bool = False
    note: str | None = None
    confirm: bool = False
    key: str | None = None
    coat: int | None = None


@dataclass(frozen=True)
class Kept:
    """The dip as it is kept. `again`: it had been said before, and nothing new was written."""

    dip: Dip
    again: bool = False


def known_tree(parts: Parts, tree_id: int) -> Tree:
    """The tree of that id; raises UnknownError."""
    tree = tree_store.tree(parts.engine, tree_id)
    if tree is None:
        raise UnknownError(f"there is no tree {tree_id}")
    return tree


def outlook_of(parts: Parts, tree_id: int) -> Outlook | None:
    """The latest verdict on a tree, None where the judge has none."""
    return next((outlook for outlook in parts.rack.outlooks() if outlook.tree_id == tree_id), None)


def take_dip(parts: Parts, tree_id: int, saying: Saying) -> Kept | Refusal | Question:
    """Write the next coat of a tree down, if the rules allow it. Raises UnknownError when there is no such
    tree."""
    with parts.one_dip_at_a_time:
        if saying.key is not None:
            said_before = dip_store.dip_with_key(parts.engine, tree_id, saying.key)
            if said_before is not None:
                return Kept(said_before, again=True)
        tree, now = known_tree(parts, tree_id), parts.clock.now()
        at = now if saying.at is None else saying.at
        standing = dip_store.dips(parts.engine, tree_id)
        outlook = outlook_of(parts, tree_id)
        answer = decide(tree, standing, outlook, at, now, saying.confirm, saying.coat)
        if not isinstance(answer, Allowed):
            return answer
        dip = dip_store.add_dip(
            parts.engine,
            NewDip(tree_id, at, now, saying.pot, saying.prewet, saying.partial, saying.note, saying.key),
        )
    parts.rack.refresh(tree_id)
    if standing and points_of_coat(parts.engine, tree, standing[-1].coat, at) > 1:
        # Once a coat, when all of its curve is there; after the refresh, so that nobody at the pot waits.
        parts.rack.learn(tree.place, "load cell")
    return Kept(dip)


def undo_dip(parts: Parts, tree_id: int, dip_id: int) -> Dip:
    """Take the latest dip of a tree back; it is kept, marked. Raises UnknownError or RefusedError."""
    with parts.one_dip_at_a_time:
        known_tree(parts, tree_id)
        dip = dip_store.undo_dip(parts.engine, tree_id, dip_id, parts.clock.now())
    parts.rack.refresh(tree_id)
    return dip
