"""The wall view: for an old tablet across the room that nobody touches. The next trees large, counts, the
air."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time

from markupsafe import Markup

from scheduler.forecast import Outlook, State
from scheduler.plan import next_first
from sensors.clock import DAY_MS, HOUR_MS, SECOND_MS
from server.pages.frame import Shop, frame, shop_now
from server.pages.marks import mark_of
from server.pages.tree_words import following_words, picture_of, slowest_words, when_words
from server.pages.wording import STATE_WORDS, clock_words
from server.parts import Parts
from server.store import places as place_store
from server.store import trees as tree_store
from server.store.values import Place, Tree

NEXT = 3
"""So many trees are readable from across the room on a screen of 1024 x 600."""

DARK_FROM, DARK_TO = time(20, 0), time(6, 30)
"""From when to when the wall is dark, by the shop's clock; assumed: an old tablet tells no scheme itself."""

MOST_PLACES = 3

COUNTED: tuple[tuple[State, str], ...] = (
    ("fit", "fit"),
    ("drying", "drying"),
    ("unsure", "unsure"),
    ("new", "new"),
    ("resting", "resting"),
    ("through", "dry through"),
)


@dataclass(frozen=True)
class WallTree:
    """One of the next trees; `detail` says what goes on next, or why not yet."""

    label: str
    hook: str
    mark: Markup
    state: str
    state_code: str
    when: str
    detail: str
    picture: Markup


@dataclass(frozen=True)
class WallPage:
    """The wall. `trouble` is what must be known before all else; `shade` is "day" or "night"; `size` tells
    how many trees are shown; `empty` why there are none."""

    shop: str
    trouble: str
    shade: str
    size: str
    clock: str
    empty: str
    trees: tuple[WallTree, ...]
    counts: str
    air: str


def wall_page(parts: Parts) -> WallPage:
    """The wall as it stands."""
    shop = shop_now(parts)
    hanging = {tree.id: tree for tree in tree_store.rack(parts.engine)}
    line = [one for one in next_first(parts.rack.outlooks(), shop.now) if one.tree_id in hanging]
    now = datetime.fromtimestamp(shop.now / SECOND_MS, shop.zone)
    shown = tuple(_tree(parts, shop, hanging[one.tree_id], one) for one in line[:NEXT])
    return WallPage(
        shop=shop.name,
        trouble=frame(parts, shop, "Wall", "rack").trouble,
        shade="night" if now.time() >= DARK_FROM or now.time() < DARK_TO else "day",
        size=f"of-{len(shown)}",
        clock=f"{now:%H:%M}",
        empty="" if shown else "No tree hangs on the rack yet",
        trees=shown,
        counts=counts_words(line),
        air=_air(parts, shop),
    )


def counts_words(outlooks: Sequence[Outlook]) -> str:
    """How many trees are in each state.

    >>> counts_words([])
    ''
    """
    found = Counter(outlook.state for outlook in outlooks)
    return " · ".join(f"{found[state]} {words}" for state, words in COUNTED if found[state])


def _tree(parts: Parts, shop: Shop, tree: Tree, outlook: Outlook) -> WallTree:
    picture, _ = picture_of(tree, parts.rack.tree(tree.id))
    when, following = when_words(outlook, shop.now, shop.zone), following_words(outlook)
    says_why = outlook.state not in ("fit", "new", "drying") or not following
    return WallTree(
        label=tree.label,
        hook=f"hook {tree.hook}",
        mark=mark_of(outlook.state),
        state=STATE_WORDS[outlook.state],
        state_code=outlook.state,
        when=f"{when.lead} {when.words}".strip(),
        detail=slowest_words(outlook) if says_why else following,
        picture=picture,
    )


def _air(parts: Parts, shop: Shop) -> str:
    """The latest air of the places that have some, in a line."""
    used = {tree.place for tree in tree_store.rack(parts.engine)}
    places = sorted(place_store.places(parts.engine), key=lambda place: place.id not in used)
    return " · ".join(_air_of(parts, shop, place) for place in places[:MOST_PLACES])


def _air_of(parts: Parts, shop: Shop, place: Place) -> str:
    known = [
        (point.time, point.temp_c, point.rh_pct)
        for point in parts.rack.air(place.id, shop.now - DAY_MS, shop.now)
        if point.temp_c is not None and point.rh_pct is not None
    ]
    if not known:
        return f"{place.name}: air not known"
    moment, temp_c, rh_pct = known[-1]
    since = "" if shop.now - moment < HOUR_MS else f" at {clock_words(moment, shop.now, shop.zone)}"
    return f"{place.name} {shop.units.temp_words(temp_c, 0)}, {rh_pct:.0f} %RH{since}"
