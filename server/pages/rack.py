"""The rack: which tree is next, and how the others stand."""

from scheduler.forecast import Outlook
from scheduler.plan import next_first
from server.pages.contexts import RackPage, RackRow
from server.pages.frame import Shop, frame, shop_now
from server.pages.tree_words import following_words, picture_of, slowest_words, when_words
from server.pages.wording import STATE_WORDS, coat_words
from server.parts import Parts
from server.store import places as place_store
from server.store import trees as tree_store
from server.store.values import Tree


def rack_page(parts: Parts) -> RackPage:
    """The rack as it stands."""
    shop = shop_now(parts)
    trees = {tree.id: tree for tree in tree_store.rack(parts.engine)}
    places = {place.id: place.name for place in place_store.places(parts.engine)}
    rows = [
        _row(parts, shop, trees[outlook.tree_id], places, outlook)
        for outlook in next_first(parts.rack.outlooks(), shop.now)
        if outlook.tree_id in trees
    ]
    return RackPage(frame(parts, shop, "Rack", "rack"), rows[0] if rows else None, tuple(rows[1:]))


def _row(parts: Parts, shop: Shop, tree: Tree, places: dict[str, str], outlook: Outlook) -> RackRow:
    picture, _ = picture_of(tree, parts.rack.tree(tree.id))
    return RackRow(
        href=f"/trees/{tree.id}",
        label=tree.label,
        hook=tree.hook,
        place=places.get(tree.place, tree.place),
        coat=coat_words(outlook.coat, outlook.of, outlook.kind),
        following=following_words(outlook),
        state=STATE_WORDS[outlook.state],
        state_code=outlook.state,
        when=when_words(outlook, shop.now, shop.zone),
        slowest=slowest_words(outlook),
        picture=picture,
    )
