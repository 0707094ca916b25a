"""GET /api/plan: the next dips in order, and each tree's forecast to burnout."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel

from scheduler.pour_day import NEVER, CoatAhead, Latest
from sensors.clock import MINUTE_MS, Millis
from server.api.problems import ProblemError, documented
from server.api.schemas import FitAt, Moment, maybe_datetime, to_datetime
from server.parts import Parts
from server.planning import ShopPlan, TreeAhead

From = Annotated[Moment | None, Query(alias="from", description="dips that begin from this time on")]
To = Annotated[Moment | None, Query(alias="to", description="dips that begin up to this time, it included")]


class PlannedDipShape(BaseModel):
    """One dip of the plan; `overnight` is whether its coat dries through the night."""

    tree: int
    label: str
    coat: int
    kind: str
    starts: datetime
    ends: datetime
    overnight: bool


class LatestShape(BaseModel):
    """The latest dip that meets the pour day in one case of two, and in nine of ten; null where too late."""

    p50: datetime | None
    p90: datetime | None


class CoatAheadShape(BaseModel):
    """A coat to come: when it goes on, when it is dry (the last: through and rested), how late it may."""

    coat: int
    kind: str
    dip_at: FitAt
    dry_at: FitAt
    latest: LatestShape | None


class TreeAheadShape(BaseModel):
    """What is ahead of a tree; `reckoned` is false while usual figures stand in for its drying times."""

    id: int
    label: str
    coats: list[CoatAheadShape]
    burnout_from: FitAt
    reckoned: bool


class PlanAnswer(BaseModel):
    """The plan. `trouble` says why nothing is planned, null where something is."""

    as_of: datetime
    work_from: datetime | None
    work_until: datetime | None
    dip_minutes: float
    dip_minutes_learned_from: int
    trouble: str | None
    dips: list[PlannedDipShape]
    before_leaving: list[int]
    left_out: list[str]
    not_planned: list[str]
    pour_day: datetime | None
    trees: list[TreeAheadShape]


def plan_router(parts: Parts) -> APIRouter:
    """The call."""
    router = APIRouter(tags=["plan"])

    @router.get("/api/plan", responses=documented(422))
    def plan(start: From = None, end: To = None) -> PlanAnswer:
        """The next dips in order, and each tree's forecast to burnout."""
        if start is not None and end is not None and end < start:
            raise ProblemError(422, f"to {end.isoformat()} is before from {start.isoformat()}", "span")
        return _answer(parts.plan_desk.plan(parts.engine, parts.rack, parts.clock), start, end)

    return router


def _answer(plan: ShopPlan, start: datetime | None, end: datetime | None) -> PlanAnswer:
    on = {one.tree.id: one.on for one in plan.trees}
    dips = [
        PlannedDipShape(
            tree=dip.tree_id,
            label=dip.label,
            coat=on[dip.tree_id] + dip.nth + 1,
            kind=dip.pot,
            starts=to_datetime(dip.start),
            ends=to_datetime(dip.end),
            overnight=dip.overnight,
        )
        for dip in plan.day.dips
    ]
    window = plan.window
    return PlanAnswer(
        as_of=to_datetime(plan.made_at),
        work_from=None if window is None else to_datetime(window[0]),
        work_until=None if window is None else to_datetime(window[1]),
        dip_minutes=plan.dip_ms / MINUTE_MS,
        dip_minutes_learned_from=plan.dips_learned,
        trouble=plan.trouble or None,
        dips=[
            dip
            for dip in dips
            if (start is None or dip.starts >= start) and (end is None or dip.starts <= end)
        ],
        before_leaving=[dip.tree_id for dip in plan.before_leaving],
        left_out=list(plan.day.left_out),
        not_planned=list(plan.blocked),
        pour_day=maybe_datetime(plan.pour_at),
        trees=[_tree(one) for one in plan.trees],
    )


def _tree(one: TreeAhead) -> TreeAheadShape:
    latest: list[Latest | None] = list(one.latest) or [None] * len(one.coats)
    kinds = [coat.kind for coat in one.tree.recipe.coats[one.on :]]
    return TreeAheadShape(
        id=one.tree.id,
        label=one.tree.label,
        coats=[
            _coat(one.on + number, kind, coat, late)
            for number, (kind, coat, late) in enumerate(zip(kinds, one.coats, latest, strict=True), start=1)
        ],
        burnout_from=_times(one.burnout),
        reckoned=one.sure,
    )


def _coat(number: int, kind: str, coat: CoatAhead, late: Latest | None) -> CoatAheadShape:
    latest = (
        None
        if late is None
        else LatestShape(p50=maybe_datetime(late.half), p90=maybe_datetime(late.nine_in_ten))
    )
    return CoatAheadShape(
        coat=number, kind=kind, dip_at=_times(coat.dips), dry_at=_times(coat.dry), latest=latest
    )


def _times(times: tuple[Millis, Millis, Millis]) -> FitAt:
    p10, p50, p90 = (None if time == NEVER else to_datetime(time) for time in times)
    return FitAt(p10=p10, p50=p50, p90=p90)
