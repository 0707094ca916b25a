"""A tree's whole history, on the rack or off it."""

from fastapi import APIRouter

from server.api.history_shapes import CoatHistory, HistoryAnswer, coat_shape
from server.api.problems import documented
from server.api.trees import TreeId, air_shapes, dip_shape, gap_shapes
from server.burnout_check import CoatWent
from server.burnout_record import coats_of
from server.dip_desk import known_tree
from server.gaps import gaps
from server.parts import Parts
from server.store import dips as dip_store
from server.store.values import Tree


def history_router(parts: Parts) -> APIRouter:
    """The call over these parts."""
    router = APIRouter(prefix="/api/trees", tags=["trees"])

    @router.get("/{tree_id}/history", responses=documented(404))
    def history(tree_id: TreeId) -> HistoryAnswer:
        """Every coat: times, the air it dried in, the verdict, warnings, gaps in the record."""
        tree = known_tree(parts, tree_id)
        verdict = None if tree.left else parts.rack.tree(tree_id)
        return HistoryAnswer(
            id=tree.id,
            label=tree.label,
            coats=[_coat(parts, tree, went) for went in coats_of(parts, tree, verdict)],
            dips=[dip_shape(dip) for dip in dip_store.all_dips(parts.engine, tree_id)],
        )

    return router


def _coat(parts: Parts, tree: Tree, went: CoatWent) -> CoatHistory:
    start, now = went.verdict.dipped_at, parts.clock.now()
    end = max(now if went.until is None else went.until, start)
    # Off the rack its air may have been let go of; what was seen of it stands in the coat itself.
    air = () if tree.left else parts.rack.air(tree.place, start, end)
    return CoatHistory(**dict(coat_shape(went)), air=air_shapes(air), gaps=gap_shapes(gaps(air, end, now)))
