"""The rack: which tree is next, how the others stand, and which of them come fit together."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from urllib.parse import urlencode

from scheduler.forecast import Outlook, State
from scheduler.plan import next_first
from scheduler.together import Together, fit_together
from server.pages.frame import Shop, frame, shop_now
from server.pages.marks import mark_of
from server.pages.rack_contexts import RackGroup, RackLink, RackPage, RackRow, RackSection
from server.pages.rack_words import number_words, together_words
from server.pages.tree_words import following_words, picture_of, slowest_words, when_words
from server.pages.wording import STATE_WORDS, coat_words
from server.parts import Parts
from server.store import places as place_store
from server.store import readings as reading_store
from server.store import trees as tree_store
from server.store.values import Tree

ORDER: tuple[tuple[State, str], ...] = (
    ("fit", "Fit and waiting"),
    ("drying", "Drying"),
    ("unsure", "Unsure"),
    ("new", "No coat yet"),
    ("resting", "Resting"),
    ("through", "Dry through"),
)
"""The sections, in the order in which a caster needs them."""

FEW = 8
"""With more trees than this the page is a long list: ways down it stand above."""


def rack_page(parts: Parts, place: str = "") -> RackPage:
    """The rack as it stands, or what hangs at one place of it, by its id."""
    shop = shop_now(parts)
    names = {one.id: one.name for one in place_store.places(parts.engine)}
    hanging = {tree.id: tree for tree in tree_store.rack(parts.engine)}
    shown = {tree.id: tree for tree in hanging.values() if place in ("", tree.place)}
    line = [one for one in next_first(parts.rack.outlooks(), shop.now) if one.tree_id in shown]
    places = _places(hanging.values(), names, place)
    near = bool(place) or len({tree.place for tree in hanging.values()}) < 2
    rows = [_row(parts, shop, shown[one.tree_id], None if near else names, one) for one in line]
    sections = _sections(shop, line, rows)
    return RackPage(
        frame=frame(parts, shop, "Rack" if not place else f"Rack, {names.get(place, place)}", "rack"),
        size="alone" if len(rows) == 1 else "few" if len(rows) <= FEW else "many",
        places=places,
        empty=_none(len(rows), bool(hanging), names.get(place, place)),
        begin=() if hanging else _begin(parts),
        first=rows[0] if rows else None,
        jumps=tuple(RackLink(f"#{one.id}", one.title) for one in sections) if len(rows) > FEW else (),
        sections=sections,
        more=_more(line, bool(hanging)),
    )


def _row(parts: Parts, shop: Shop, tree: Tree, names: Mapping[str, str] | None, outlook: Outlook) -> RackRow:
    picture, _ = picture_of(tree, parts.rack.tree(tree.id))
    where = f"hook {tree.hook}"
    return RackRow(
        href=f"/trees/{tree.id}",
        label=tree.label,
        where=f"{where} · {names.get(tree.place, tree.place)}" if names is not None else where,
        coat=coat_words(outlook.coat, outlook.of, outlook.kind),
        following=following_words(outlook),
        mark=mark_of(outlook.state),
        state=STATE_WORDS[outlook.state],
        state_code=outlook.state,
        when=when_words(outlook, shop.now, shop.zone),
        slowest=slowest_words(outlook),
        picture=picture,
    )


def _sections(shop: Shop, line: Sequence[Outlook], rows: Sequence[RackRow]) -> tuple[RackSection, ...]:
    """All but the first of the line, by state; those that come fit together stand together."""
    groups = {tree_id: group for group in fit_together(line, shop.now) for tree_id in group.tree_ids}
    labels = {outlook.tree_id: outlook.label for outlook in line}
    rest = list(zip(line, rows, strict=True))[1:]
    sections = []
    for state, title in ORDER:
        mine = [(outlook, row) for outlook, row in rest if outlook.state == state]
        if not mine:
            continue
        parted = tuple(
            RackGroup(_together(shop, group, labels, line[0].tree_id), tuple(row for _, row in members))
            for group, members in (
                (group, list(members))
                for group, members in groupby(mine, lambda pair: groups.get(pair[0].tree_id))
            )
        )
        sections.append(RackSection(state, f"{title} ({len(mine)})", parted))
    return tuple(sections)


def _together(shop: Shop, group: Together | None, labels: dict[int, str], first: int) -> str:
    if group is None:
        return ""
    others = sum(1 for tree_id in group.tree_ids if tree_id != first)
    if first in group.tree_ids:
        who = f"{labels[first]} and {'this one' if others == 1 else f'these {number_words(others)}'}"
    else:
        who = f"These {number_words(others)}"
    return together_words(who, group.at, shop.now, shop.zone)


def _places(hanging: Iterable[Tree], names: Mapping[str, str], place: str) -> tuple[RackLink, ...]:
    used = {tree.place for tree in hanging}
    if len(used) < 2 and not place:
        return ()
    ways = [(one, name) for one, name in names.items() if one in used or one == place]
    return (
        RackLink("/", "All places", not place),
        *(RackLink(f"/?{urlencode({'place': one})}", name, one == place) for one, name in ways),
    )


def _none(shown: int, hanging: bool, place: str) -> str:
    if shown:
        return ""
    if not hanging:
        return "No tree hangs on the rack yet."
    return f"No tree hangs at the place “{place}”." if place else "No tree has been judged yet."


def _begin(parts: Parts) -> tuple[RackLink, ...]:
    """What to do first, the tree before the node: without air a tree is only unsure, and says why."""
    steps = [RackLink("/trees/new", "Hang the first tree")]
    if not reading_store.nodes(parts.engine):
        steps.append(RackLink("/air", "See whether a node tells the air: none has been heard yet"))
    return tuple(steps)


def _more(line: Sequence[Outlook], hanging: bool) -> tuple[RackLink, ...]:
    if not hanging:
        return ()
    dippable = sum(1 for outlook in line if outlook.coat < outlook.of)
    several = (RackLink("/together", "Just dipped several"),) if dippable > 1 else ()
    left = RackLink("/trees/left", "Trees that left the rack")
    return (*several, RackLink("/trees/new", "Hang a new tree"), RackLink("/wall", "Show it on a wall"), left)
