"""The past of the whole shop as the history's reckoning takes it: every coat that is over."""

from server.coat_book import coat_of
from server.history_taught import PastCoat
from server.store import castings, places, trees
from server.store.engine import Engine


def past_coats(engine: Engine) -> list[PastCoat]:
    """Every coat that was written down when it was over, by tree and time; patches are left out."""
    ever = {tree.id: tree for tree in trees.ever(engine)}
    names = {place.id: place.name for place in places.places(engine)}
    foretold = castings.forecasts(engine)
    found = []
    for kept in castings.kept_coats(engine):
        coat, tree = coat_of(kept), ever.get(kept.tree_id)
        if tree is None or coat.patch is not None:
            continue
        forecast = foretold.get(coat.dip_id)
        found.append(
            PastCoat(
                tree.recipe.name,
                names.get(tree.place, tree.place),
                coat.number,
                coat.kind,
                coat.dipped_at,
                coat.fit_at.p90,
                coat.fit_at.p50,
                coat.slowest_name,
                None if forecast is None else forecast.fit_at,
            )
        )
    return found
