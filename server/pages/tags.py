"""Tags: a sheet of codes to print for hangers and hooks, and the page that opens when one is looked at.

Opening a tag asks and writes nothing: the dip is said by holding the button there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlencode

from markupsafe import Markup

from scheduler.forecast import Outlook
from server.dip_desk import known_tree, outlook_of
from server.free_hooks import natural
from server.pages import cautions
from server.pages.contexts import Frame, When
from server.pages.frame import Shop, frame, shop_now
from server.pages.tag_codes import (
    TagError,
    base_address,
    code_of,
    hook_address,
    hooks_typed,
    tree_address,
    unreachable,
)
from server.pages.tree_words import slowest_words, when_words
from server.pages.wording import STATE_WORDS, sentence
from server.parts import Parts
from server.store import dips as dip_store
from server.store import hung
from server.store import places as place_store
from server.store import trees as tree_store
from server.store.values import Tree

SIZES_MM = (25, 35, 50)
"""Sides of a printed code with its white border [mm]. Common practice: a tenth of the reading distance."""

LEFT_WORDS = {"cleared": "it was cleared for burnout", "scrapped": "it was scrapped"}


@dataclass(frozen=True)
class Tag:
    """One tag: the large word, a smaller line, its address, and its code."""

    label: str
    line: str
    address: str
    code: Markup


@dataclass(frozen=True)
class SizeChoice:
    """A side of the codes [mm] to choose."""

    mm: int
    chosen: bool


@dataclass(frozen=True)
class Sheet:
    """Tags under one heading."""

    title: str
    tags: tuple[Tag, ...]


@dataclass(frozen=True)
class TagsPage:
    """The sheet. `fault`: what was typed cannot be; `warning`: the codes would lead nowhere."""

    frame: Frame
    fault: str
    warning: str
    address: str
    more: str
    sizes: tuple[SizeChoice, ...]
    only: str
    size: str
    sheets: tuple[Sheet, ...]


@dataclass(frozen=True)
class TagLink:
    """A tree that a tag may mean, or what to do where it means none."""

    href: str
    words: str


@dataclass(frozen=True)
class TagDip:
    """The dip that a tag asks for: its form, its key, the coat's number."""

    action: str
    key: str
    button: str
    coat: int


@dataclass(frozen=True)
class TagPage:
    """What a tag asks. Where there is nothing to dip, `dip` is None and `told` says why."""

    frame: Frame
    question: str
    line: str
    state: str
    state_code: str
    when: When
    told: str
    dip: TagDip | None
    links: tuple[TagLink, ...]
    cautions: tuple[str, ...]


def tags_page(parts: Parts, address: str, size_mm: int, more: str, only: int | None) -> TagsPage:
    """The sheet for all trees on the rack and all hooks, or for the tree `only`. Raises UnknownError."""
    shop = shop_now(parts)
    hung_now = [known_tree(parts, only)] if only is not None else tree_store.rack(parts.engine)
    fault, warning = "", ""
    sheets = []
    try:
        base = base_address(address)
        names = {hook.name: None for hook in hung.hooks(parts.engine)}
        names.update(dict.fromkeys(hooks_typed(more)))
        sheets.append(
            Sheet("For the hangers of trees", tuple(_tree_tag(base, tree, size_mm) for tree in hung_now))
        )
        if only is None:
            order = _once(sorted(names, key=natural))
            sheets.append(Sheet("For hooks", tuple(_hook_tag(base, name, size_mm) for name in order)))
        warning = unreachable(base)
    except TagError as error:
        fault = str(error)
    return TagsPage(
        frame=frame(parts, shop, "Tags", "shop"),
        fault=fault,
        warning=warning,
        address=address.strip(),
        more=more,
        sizes=tuple(SizeChoice(mm, mm == size_mm) for mm in SIZES_MM),
        only="" if only is None else str(only),
        size=f"of-{size_mm}",
        sheets=tuple(sheet for sheet in sheets if sheet.tags),
    )


def tree_tag_page(parts: Parts, tree_id: int) -> TagPage:
    """What the tag of a tree asks. Raises UnknownError."""
    return _asked(parts, shop_now(parts), known_tree(parts, tree_id))


def hook_tag_page(parts: Parts, hook: str) -> TagPage:
    """What the tag of a hook asks: the dip of the tree that hangs there, in whichever case it is written."""
    shop, meant = shop_now(parts), hook.strip().casefold()
    there = [tree for tree in tree_store.rack(parts.engine) if tree.hook.casefold() == meant]
    if len(there) == 1:
        return _asked(parts, shop, there[0])
    if there:
        links = tuple(TagLink(f"/t/{tree.id}", f"{tree.label}, on hook {tree.hook}") for tree in there)
        return _told(parts, shop, f"Which one on hook {hook}?", "More than one tree hangs there.", links)
    known = next((one.name for one in hung.hooks(parts.engine) if one.name.casefold() == meant), hook)
    words = "Nothing was written down."
    links = (TagLink(new_tree_on(known), f"Hang a new tree on {known}"), TagLink("/", "The rack"))
    return _told(parts, shop, f"No tree hangs on hook {known}", words, links)


def new_tree_on(hook: str) -> str:
    """Where a new tree for a hook is described.

    >>> new_tree_on("left rail")
    '/trees/new?hook=left%20rail'
    """
    return f"/trees/new?{urlencode({'hook': hook}, quote_via=quote)}"


def _asked(parts: Parts, shop: Shop, tree: Tree) -> TagPage:
    tree_link = TagLink(f"/trees/{tree.id}", f"No, open {tree.label}")
    if tree.left:
        why = sentence(f"{tree.label} is off the rack: {LEFT_WORDS.get(tree.left, tree.left)}")
        return _told(parts, shop, tree.label, why, (TagLink(f"/trees/{tree.id}", f"Open {tree.label}"),))
    said = dip_store.all_dips(parts.engine, tree.id)
    on, coats = sum(1 for dip in said if dip.undone_at is None), len(tree.recipe.coats)
    if on >= coats:
        why = f"All {coats} coats are on: there is none left to dip."
        return _told(parts, shop, tree.label, why, (TagLink(f"/trees/{tree.id}", f"Open {tree.label}"),))
    outlook, place = outlook_of(parts, tree.id), place_store.place(parts.engine, tree.place)
    number = on + 1
    return TagPage(
        frame=frame(parts, shop, f"{tree.label}, coat {number}?"),
        question=f"{tree.label}, coat {number} of {coats}?",
        line=f"hook {tree.hook} · {place.name if place else tree.place} · {tree.recipe.coats[on].kind}",
        state=STATE_WORDS[outlook.state if outlook else "unsure"],
        state_code=outlook.state if outlook else "unsure",
        when=when_words(outlook, shop.now, shop.zone) if outlook else When(),
        told=_judged(outlook),
        # The key of the tree's own page: said there and here it is one dip.
        dip=TagDip(
            f"/trees/{tree.id}/dips", f"page-{tree.id}-{len(said)}-{number}", f"Dipped: coat {number}", number
        ),
        links=(tree_link,),
        cautions=cautions.DIPPING,
    )


def _judged(outlook: Outlook | None) -> str:
    return sentence(slowest_words(outlook)) if outlook else "It has not been judged yet."


def _told(parts: Parts, shop: Shop, title: str, words: str, links: tuple[TagLink, ...]) -> TagPage:
    return TagPage(frame(parts, shop, title), title, "", "", "", When(), words, None, links, ())


def _tree_tag(base: str, tree: Tree, size_mm: int) -> Tag:
    code = code_of(tree_address(base, tree.id), size_mm)
    return Tag(tree.label, f"tree {tree.id}", code.address, code.svg)


def _hook_tag(base: str, hook: str, size_mm: int) -> Tag:
    code = code_of(hook_address(base, hook), size_mm)
    return Tag(hook, "hook", code.address, code.svg)


def _once(hooks: Sequence[str]) -> list[str]:
    """Hooks that differ in more than their case: their addresses are the same."""
    return list({hook.casefold(): hook for hook in reversed(hooks)}.values())[::-1]
