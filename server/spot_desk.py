"""Where the spots of a tree are changed, whoever says it: what may not be, and what became of each."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.parts import Parts
from server.store import clearings
from server.store import trees as tree_store
from server.store.engine import RefusedError
from server.store.values import Tree, TreeSpot


@dataclass(frozen=True)
class Changed:
    """How the spots of a tree are to change: which are new, and which would be looked at no more.

    One that keeps its name and gets another code was described better: it is in neither.
    """

    added: tuple[TreeSpot, ...]
    taken_off: tuple[TreeSpot, ...]


def changed(old: Sequence[TreeSpot], new: Sequence[TreeSpot]) -> Changed:
    """What is new in `new`, and what is gone.

    >>> vent, tighter, cup = (TreeSpot(*one) for one in (("joint:60", "a"), ("joint:30", "a"), ("face", "b")))
    >>> changed([vent], [tighter, cup]) == Changed((cup,), ())
    True
    >>> changed([vent, cup], [cup]).taken_off == (vent,)
    True
    """
    return Changed(_without(new, old), _without(old, new))


def look_at_spots(parts: Parts, tree: Tree, spots: Sequence[TreeSpot]) -> None:
    """Raise RefusedError where a spot would go that a patch is on: a wet patch must not go unjudged."""
    codes = {spot.code for spot in spots}
    for patch in clearings.patches(parts.engine, tree.id):
        if patch.undone_at is None and patch.spot not in codes:
            name = next((spot.name for spot in tree.spots if spot.code == patch.spot), patch.spot)
            raise RefusedError(
                f"{name} ({patch.spot}) of {tree.label} has a patch on it: take the patch back first, "
                "or leave the spot as it is"
            )


def change_spots(parts: Parts, tree: Tree, spots: Sequence[TreeSpot]) -> None:
    """Have a tree judged at these spots, all its coats anew. Raises RefusedError, UnknownError."""
    look_at_spots(parts, tree, spots)
    tree_store.amend_tree(parts.engine, tree.id, now=parts.clock.now(), spots=spots)
    parts.rack.refresh(tree.id)


def _without(these: Sequence[TreeSpot], others: Sequence[TreeSpot]) -> tuple[TreeSpot, ...]:
    codes, names = {one.code for one in others}, {one.name for one in others}
    return tuple(one for one in these if one.code not in codes and one.name not in names)
