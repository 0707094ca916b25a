"""A form for a tree that is to hang on the rack. What was wrong is said above it, and what was typed
stays."""

from dataclasses import dataclass

from fastapi import Response
from fastapi.responses import RedirectResponse

from server.drying.spots import SpotError, parse_spot
from server.pages.contexts import NewTreePage
from server.pages.frame import frame, shop_now
from server.pages.render import show
from server.parts import Parts
from server.store import places as place_store
from server.store import recipes as recipe_store
from server.store import trees as tree_store
from server.store.engine import RefusedError, UnknownError
from server.store.values import NewTree, TreeSpot

SPOT_LINES = 4
MOST_SPOTS = 24


@dataclass(frozen=True)
class TreeForm:
    """What was typed. `spots` are pairs of the caster's own words and a code; empty lines are left out."""

    label: str = ""
    hook: str = ""
    place: str = ""
    recipe: int = 0
    size_mm: float = 25.0
    spots: tuple[tuple[str, str], ...] = (("body", "face"), ("vent joint", "joint:45"))


def new_tree_page(parts: Parts, form: TreeForm, fault: str = "") -> NewTreePage:
    """The form, as it was typed."""
    shop = shop_now(parts)
    empty = (("", ""),) * max(SPOT_LINES - len(form.spots), 0)
    return NewTreePage(
        frame=frame(parts, shop, "A new tree"),
        fault=fault,
        places=tuple((place.id, place.name) for place in place_store.places(parts.engine)),
        recipes=tuple((recipe.id, recipe.name) for recipe in recipe_store.recipes(parts.engine)),
        spot_lines=form.spots + empty,
        label=form.label,
        hook=form.hook,
        size_mm=f"{form.size_mm:g}",
        chosen_place=form.place,
        chosen_recipe=form.recipe,
    )


def hang(parts: Parts, form: TreeForm) -> Response:
    """Hang the tree and go to its page, or show the form again with what was wrong."""
    try:
        spots = spots_typed(form.spots)
        new = NewTree(form.label, form.hook, form.place, form.recipe, form.size_mm, spots)
        tree = tree_store.add_tree(parts.engine, new, parts.clock.now())
    except (SpotError, RefusedError, UnknownError) as fault:
        return show(new_tree_page(parts, form, str(fault)), 422)
    parts.rack.refresh(tree.id)
    return RedirectResponse(f"/trees/{tree.id}", status_code=303)


def spots_typed(lines: tuple[tuple[str, str], ...]) -> tuple[TreeSpot, ...]:
    """The spots of a form. A spot with no words of its own is called what it is. Raises SpotError.

    >>> spots_typed((("vent joint", "joint:30"), ("", "face"), ("", "")))
    (TreeSpot(code='joint:30', name='vent joint'), TreeSpot(code='face', name='face'))
    """
    spots: dict[str, TreeSpot] = {}
    for name, code in lines:
        if not code.strip():
            if name.strip():
                raise SpotError(f"spot {name.strip()!r} has no code, like face or joint:30")
            continue
        spot = parse_spot(code)
        if spot.code in spots:
            raise SpotError(f"spot {spot.code} is there twice: name it once for both")
        spots[spot.code] = TreeSpot(spot.code, name.strip()[:60] or spot.describe())
    if not spots:
        raise SpotError("a tree needs at least one spot, like face")
    return tuple(spots.values())
