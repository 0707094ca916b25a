"""GET /api/rack: every tree on the rack and what is judged of it, the next to dip first."""

from fastapi import APIRouter

from scheduler.forecast import Outlook, Quantiles
from scheduler.plan import next_first
from server.api.problems import documented
from server.api.schemas import FitAt, RackAnswer, RackTree, maybe_datetime, to_datetime
from server.parts import Parts


def rack_router(parts: Parts) -> APIRouter:
    """The rack's call."""
    router = APIRouter(tags=["rack"])

    @router.get("/api/rack", responses=documented())
    def rack() -> RackAnswer:
        """The rack, the next to dip first."""
        now = parts.clock.now()
        trees = [rack_tree(outlook) for outlook in next_first(parts.rack.outlooks(), now)]
        return RackAnswer(as_of=to_datetime(now), clock_rate=parts.clock.rate, trees=trees)

    return router


def rack_tree(outlook: Outlook) -> RackTree:
    """An outlook as it goes over the wire."""
    return RackTree(
        id=outlook.tree_id,
        label=outlook.label,
        hook=outlook.hook,
        place=outlook.place,
        coat=outlook.coat,
        of=outlook.of,
        kind=outlook.kind,
        state=outlook.state,
        slowest_spot=outlook.slowest_spot,
        remaining=outlook.remaining,
        fit_at=fit_at(outlook.fit_at),
        reason=outlook.reason,
    )


def fit_at(when: Quantiles) -> FitAt:
    """Quantiles as they go over the wire."""
    return FitAt(p10=maybe_datetime(when.p10), p50=maybe_datetime(when.p50), p90=maybe_datetime(when.p90))
