"""The spots of a tree that hangs: an angle put right, a joint added that was forgotten, one taken off."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.pages.contexts import Frame, QuestionPage
from server.pages.frame import frame, shop_now
from server.pages.new_tree_context import (
    Addition,
    PocketSizes,
    SpotLine,
    additions,
    blank_lines,
    pocket_sizes,
    spot_line,
)
from server.pages.rack_words import named
from server.pages.tree_changes import on_rack
from server.pages.typed_spots import Lines
from server.pages.wording import sentence
from server.parts import Parts
from server.store import dips as dip_store
from server.store.values import Tree

EMPTY_LINES = 2
"""So many lines for spots that were forgotten the form has without script."""


@dataclass(frozen=True)
class SpotsPage:
    """The form for a tree's spots; `fault` says what was wrong with it the last time, `does` what it does.

    `size`, `place` and `recipe` are the tree's, for what an angle does to the drying. `size` is in the shop's
    unit of length, `unit`, of which one is `mm_in_unit` millimetres.
    """

    frame: Frame
    label: str
    back: str
    action: str
    fault: str
    does: tuple[str, ...]
    additions: tuple[Addition, ...]
    spot_lines: tuple[SpotLine, ...]
    pocket: PocketSizes
    size: str
    place: str
    recipe: str
    unit: str
    mm_in_unit: str


def spots_page(parts: Parts, tree_id: int, typed: Lines | None = None, fault: str = "") -> SpotsPage:
    """The form for a tree on the rack. Raises UnknownError, or RefusedError where it left."""
    tree, shop = on_rack(parts, tree_id), shop_now(parts)
    units = shop.units
    lines = tuple((spot.name, spot.code) for spot in tree.spots) if typed is None else typed
    return SpotsPage(
        frame=frame(parts, shop, f"{tree.label}: spots"),
        label=tree.label,
        back=f"/trees/{tree_id}",
        action=f"/trees/{tree_id}/spots",
        fault=sentence(fault),
        does=does_words(len(dip_store.dips(parts.engine, tree_id))),
        additions=additions(),
        spot_lines=tuple(spot_line(name, code, units) for name, code in lines) + blank_lines(EMPTY_LINES),
        pocket=pocket_sizes(units),
        size=f"{units.length(tree.size_mm):.4g}",
        place=tree.place,
        recipe=f"{tree.recipe.id}",
        unit=units.length_sign,
        mm_in_unit=f"{units.mm(1.0):g}",
    )


def does_words(coats: int) -> tuple[str, ...]:
    """What changing the spots does to the verdict of a tree with so many coats on.

    >>> does_words(0)
    ('No coat is on yet: the first dip is judged at the spots as they are then.',)
    >>> does_words(1)[0]
    'The coat that is on is judged anew at these spots, from its dip on and in the air it had. The verdict \
may change at once.'
    """
    if not coats:
        return ("No coat is on yet: the first dip is judged at the spots as they are then.",)
    these = "The coat that is on is" if coats == 1 else f"All {coats} coats that are on are"
    since = "its dip on and in the air it had" if coats == 1 else "the first dip on and in the air they had"
    return (
        f"{these} judged anew at these spots, from {since}. The verdict may change at once.",
        "A spot that is added is taken to have had every coat. One that is taken off is looked at no more. "
        "What was measured there stays in the record.",
    )


def take_off_question(parts: Parts, tree: Tree, gone: Sequence[str], typed: Lines) -> QuestionPage:
    """Asks before spots of those names are looked at no more."""
    pairs = [pair for name, code in typed for pair in (("spot_name", name), ("spot_code", code))]
    corner = "it is" if len(gone) == 1 else "they are"
    return QuestionPage(
        frame=frame(parts, shop_now(parts), f"{tree.label}: take a spot off?"),
        question=f"Take {named(gone)} off? {tree.label} may then be called fit while {corner} still damp.",
        action=f"/trees/{tree.id}/spots",
        fields=(*pairs, ("confirm", "yes")),
        yes="Take it off" if len(gone) == 1 else "Take them off",
        back=f"/trees/{tree.id}/spots",
    )
