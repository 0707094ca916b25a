"""A form for a tree that is to hang on the rack. What was wrong is said above it; what was typed stays."""

from dataclasses import dataclass, replace

from fastapi import Response
from fastapi.responses import RedirectResponse

from sensors.reading import KeptOutError
from server.dip_desk import known_tree
from server.dry_rules import rest_hours_of
from server.drying.spots import SpotError
from server.first_place import USUAL_NAME, name_first_place
from server.free_hooks import free_hooks
from server.pages.frame import Shop, frame, shop_now
from server.pages.new_tree_context import (
    Chip,
    LikeLink,
    NewTreePage,
    additions,
    blank_lines,
    pocket_sizes,
    size_chips,
    spot_line,
)
from server.pages.render import show
from server.pages.typed_spots import spots_typed
from server.parts import Parts
from server.plain_names import BadNameError, checked_name
from server.store import hung
from server.store import places as place_store
from server.store import recipes as recipe_store
from server.store import trees as tree_store
from server.store.engine import RefusedError, UnknownError
from server.store.values import NewTree, Tree
from server.units import Units

SPOT_LINES = 4
"""How many lines for spots the plain form has at least."""

USUAL_SIZE_MM = 25.0
SMALLEST_MM, LARGEST_MM = 1.0, 2000.0
MOST_LIKE = 24
"""How many trees are offered to hang another like."""

LEFT_WORDS = {"": "on the rack", "cleared": "cleared for burnout", "scrapped": "scrapped"}


class FormError(ValueError):
    """What was typed cannot be: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class TreeForm:
    """What was typed, as it was typed; `size` is in the shop's unit.

    `spots` are pairs of the caster's own words and a code; empty lines are left out. `like` is whose copy it
    is, "" where it is none.
    """

    label: str = ""
    hook: str = ""
    place: str = ""
    recipe: str = ""
    size: str = ""
    spots: tuple[tuple[str, str], ...] = (("body", "face"),)
    like: str = ""
    place_name: str = USUAL_NAME


def first_form(parts: Parts, like: int | None = None, hook: str = "") -> TreeForm:
    """The form before anything was typed: as the last tree was hung; `like` another, with its spots.

    Raises UnknownError where there is no such tree.
    """
    units = shop_now(parts).units
    if like is not None:
        tree = known_tree(parts, like)
        spots = tuple((spot.name, spot.code) for spot in tree.spots)
        return replace(_as(tree, units), hook=hook, spots=spots, like=tree.label)
    last = hung.last(parts.engine)
    if last is not None:
        return replace(_as(last, units), hook=hook)
    places, recipes = place_store.places(parts.engine), recipe_store.recipes(parts.engine)
    return TreeForm(
        hook=hook,
        place=places[0].id if places else "",
        recipe=str(recipes[0].id) if recipes else "",
        size=f"{units.length(USUAL_SIZE_MM):.4g}",
    )


def new_tree_page(parts: Parts, form: TreeForm, fault: str = "") -> NewTreePage:
    """The form, as it was typed."""
    shop = shop_now(parts)
    lines = tuple(spot_line(name, code, shop.units) for name, code in form.spots)
    places, recipes = place_store.places(parts.engine), recipe_store.recipes(parts.engine)
    return NewTreePage(
        frame=frame(parts, shop, "A new tree"),
        fault=fault,
        like=form.like,
        others=_others(parts, shop),
        place_name=form.place_name,
        places=tuple(Chip(place.id, place.name, place.id == form.place) for place in places),
        recipes=tuple(
            Chip(str(recipe.id), f"{recipe.name}, {len(recipe.coats)} coats", str(recipe.id) == form.recipe)
            for recipe in recipes
        ),
        hooks=free_hooks(hung.hooks(parts.engine)),
        sizes=size_chips(form.size, shop.units),
        additions=additions(),
        spot_lines=lines + blank_lines(max(SPOT_LINES - len(lines), 0)),
        pocket=pocket_sizes(shop.units),
        label=form.label,
        hook=form.hook,
        size=form.size,
        unit=shop.units.length_sign,
        mm_in_unit=f"{shop.units.mm(1.0):g}",
    )


def hang(parts: Parts, form: TreeForm) -> Response:
    """Hang the tree and go to its page, or show the form again with what was wrong."""
    try:
        new = _meant(parts, form)
        tree = tree_store.add_tree(parts.engine, new, parts.clock.now(), rest_hours_of(parts.engine))
    except (FormError, BadNameError, SpotError, KeptOutError, RefusedError, UnknownError) as fault:
        return show(new_tree_page(parts, form, str(fault)), 422)
    parts.rack.refresh(tree.id)
    return RedirectResponse(f"/trees/{tree.id}", status_code=303)


def _meant(parts: Parts, form: TreeForm) -> NewTree:
    label = checked_name("the tree’s name", form.label)
    hook = checked_name("the hook", form.hook)
    spots = spots_typed(form.spots)
    if not (form.recipe.isascii() and form.recipe.isdecimal() and len(form.recipe) < 10):
        raise FormError(f"there is no recipe {form.recipe[:64]!r}: choose one of those below")
    size_mm = _size_mm(parts, form.size)
    return NewTree(label, hook, _place(parts, form), int(form.recipe), size_mm, spots)


def _place(parts: Parts, form: TreeForm) -> str:
    """The id of the place that was chosen; the first one of all is named with the first tree."""
    if not place_store.places(parts.engine):
        return name_first_place(parts.engine, checked_name("the place’s name", form.place_name))
    if place_store.place(parts.engine, form.place) is None:
        raise FormError(f"there is no place {form.place[:64]!r}: choose one of those below")
    return form.place


def _size_mm(parts: Parts, typed: str) -> float:
    units = shop_now(parts).units
    try:
        size = units.mm(float(typed.strip().replace(",", ".")))
    except ValueError:
        raise FormError(f"the length of its faces {typed.strip()[:20]!r} is not a number") from None
    if not SMALLEST_MM <= size <= LARGEST_MM:
        limits = units.said(f"{SMALLEST_MM:g} mm to {LARGEST_MM:g} mm")
        shown = typed.strip()[:20]
        raise FormError(f"the length of its faces, {shown} {units.length_sign}, is outside {limits}")
    return size


def _as(tree: Tree, units: Units) -> TreeForm:
    size = f"{units.length(tree.size_mm):.4g}"
    return TreeForm(place=tree.place, recipe=str(tree.recipe.id), size=size)


def _others(parts: Parts, shop: Shop) -> tuple[LikeLink, ...]:
    return tuple(
        LikeLink(
            f"/trees/new?like={tree.id}",
            tree.label,
            f"{LEFT_WORDS.get(tree.left, tree.left)}, {', '.join(tree.spots)}",
        )
        for tree in hung.newest(parts.engine, MOST_LIKE)
    )
