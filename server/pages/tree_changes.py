"""Moving, renaming and scrapping a tree, hanging it again, and the trees that left the rack."""

from dataclasses import dataclass

from server.dip_desk import known_tree
from server.free_hooks import free_hooks
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words, sentence
from server.parts import Parts
from server.store import hung
from server.store import left as left_store
from server.store import places as place_store
from server.store import recipes as recipe_store
from server.store import trees as tree_store
from server.store.engine import RefusedError, UnknownError
from server.store.values import Tree

HOW_WORDS = {"cleared": "Cleared for burnout", "scrapped": "Scrapped"}


@dataclass(frozen=True)
class Moved:
    """What a form says of a tree: its name, its hook, its place and its recipe (their ids)."""

    label: str
    hook: str
    place: str
    recipe: int


@dataclass(frozen=True)
class ChangeTreePage:
    """The form to move or rename a tree; `fault` says what was wrong with it the last time."""

    frame: Frame
    label: str
    back: str
    fault: str
    action: str
    typed_label: str
    typed_hook: str
    places: tuple[tuple[str, str], ...]
    chosen_place: str
    recipes: tuple[tuple[int, str], ...]
    chosen_recipe: int
    hooks: str
    scrap: str


@dataclass(frozen=True)
class ScrapPage:
    """Asks before a tree is scrapped."""

    frame: Frame
    label: str
    question: str
    fault: str
    action: str
    yes: str
    why: str
    who: str
    back: str


@dataclass(frozen=True)
class LeftRow:
    """One tree that left the rack."""

    href: str
    label: str
    how: str
    more: str
    why: str


@dataclass(frozen=True)
class LeftPage:
    """The trees that left the rack, the last one first."""

    frame: Frame
    trees: tuple[LeftRow, ...]
    back: str


def change_page(parts: Parts, tree_id: int, typed: Moved | None = None, fault: str = "") -> ChangeTreePage:
    """The form for a tree on the rack. Raises UnknownError, or RefusedError where it left."""
    tree, shop = on_rack(parts, tree_id), shop_now(parts)
    said = typed or Moved(tree.label, tree.hook, tree.place, tree.recipe.id)
    free = [name for name in free_hooks(hung.hooks(parts.engine)) if name != tree.hook]
    return ChangeTreePage(
        frame=frame(parts, shop, f"{tree.label}: move, rename, scrap"),
        label=tree.label,
        back=f"/trees/{tree_id}",
        fault=sentence(fault),
        action=f"/trees/{tree_id}/change",
        typed_label=said.label,
        typed_hook=said.hook,
        places=tuple((place.id, place.name) for place in place_store.places(parts.engine)),
        chosen_place=said.place,
        recipes=tuple(
            (one.id, f"{one.name} ({len(one.coats)})") for one in recipe_store.recipes(parts.engine)
        ),
        chosen_recipe=said.recipe,
        hooks=", ".join(free),
        scrap=f"/trees/{tree_id}/scrap",
    )


def change(parts: Parts, tree_id: int, said: Moved) -> str:
    """Move or rename a tree as it is said; returns why not, "" where it is done.

    Raises UnknownError where there is no such tree, RefusedError where it left the rack.
    """
    tree = on_rack(parts, tree_id)
    hook = said.hook if said.hook != tree.hook else None
    place = said.place if said.place != tree.place else None
    label = said.label if said.label != tree.label else None
    recipe = said.recipe if said.recipe != tree.recipe.id else None
    try:
        tree_store.amend_tree(
            parts.engine,
            tree_id,
            now=parts.clock.now(),
            label=label,
            hook=hook,
            place=place,
            recipe=recipe,
        )
    except (RefusedError, UnknownError) as error:
        return str(error)
    parts.rack.refresh(tree_id)
    return ""


def scrap_page(parts: Parts, tree_id: int, why: str = "", who: str = "", fault: str = "") -> ScrapPage:
    """Asks whether a tree is to be scrapped, and why. Raises UnknownError or RefusedError."""
    tree, shop = on_rack(parts, tree_id), shop_now(parts)
    return ScrapPage(
        frame=frame(parts, shop, f"{tree.label}: scrap it?"),
        label=tree.label,
        question=f"Scrap {tree.label}?",
        fault=sentence(fault),
        action=f"/trees/{tree_id}/scrap",
        yes=f"Scrap {tree.label}",
        why=why,
        who=who,
        back=f"/trees/{tree_id}/change",
    )


def scrap(parts: Parts, tree_id: int, why: str, who: str) -> None:
    """Take a tree off the rack as scrapped. Raises UnknownError or RefusedError."""
    known_tree(parts, tree_id)
    with parts.one_dip_at_a_time:
        tree_store.take_off(parts.engine, tree_id, "scrapped", parts.clock.now(), who, why)
    parts.rack.refresh(tree_id)


def hang_again(parts: Parts, tree_id: int, hook: str) -> None:
    """Take a scrapping back. Raises UnknownError, or RefusedError where the hook is taken."""
    known_tree(parts, tree_id)
    left_store.hang_again(parts.engine, tree_id, hook, parts.clock.now())
    parts.rack.refresh(tree_id)


def left_page(parts: Parts) -> LeftPage:
    """Every tree that left the rack, the last one first."""
    shop = shop_now(parts)
    names = {place.id: place.name for place in place_store.places(parts.engine)}
    return LeftPage(
        frame=frame(parts, shop, "Trees that left the rack"),
        trees=tuple(
            LeftRow(
                href=f"/trees/{one.tree_id}",
                label=one.label,
                how=f"{HOW_WORDS[one.how]} {clock_words(one.at, shop.now, shop.zone)}",
                more=f"{one.coats} coat{'' if one.coats == 1 else 's'} · {names.get(one.place, one.place)}",
                why=_why(one.why, one.who),
            )
            for one in left_store.left(parts.engine)
        ),
        back="/",
    )


def how_it_left(parts: Parts, shop: Shop, tree: Tree) -> str:
    """When a tree left the rack, who said so and why, as a sentence; empty while it hangs there."""
    if not tree.left:
        return ""
    said = [one for one in tree_store.events(parts.engine, tree.id) if one.kind == tree.left]
    if not said:
        return sentence(HOW_WORDS[tree.left])
    event = said[-1]
    why = _why(str(event.payload.get("why") or ""), str(event.payload.get("who") or ""))
    when = clock_words(event.at, shop.now, shop.zone)
    return sentence(f"{HOW_WORDS[tree.left]} {when}{f': {why}' if why else ''}")


def _why(why: str, who: str) -> str:
    return f"{why} ({who})" if why and who else why or who


def on_rack(parts: Parts, tree_id: int) -> Tree:
    """A tree that hangs. Raises UnknownError where there is none, RefusedError where it left the rack."""
    tree = known_tree(parts, tree_id)
    if tree.left:
        raise RefusedError(f"{tree.label} is off the rack: it was {tree.left}")
    return tree
