"""GET /api/joint-hint: what a joint's angle does to its drying time, for a tree that is to be hung."""

from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel

from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, SizeMm, Slug
from server.drying.spots import LARGEST_ANGLE_DEG, SMALLEST_ANGLE_DEG
from server.drying.whatif import NO_END, Spread
from server.joint_hints import HintBusyError, JointHints
from server.parts import Parts


class HintSpread(BaseModel):
    """Percentiles 10, 50 and 90; null beyond five days, as far ahead as is reckoned."""

    p10: float | None
    p50: float | None
    p90: float | None


class OpenedShape(BaseModel):
    """A more open angle and what it saves [s]."""

    angle_deg: float
    saved_s: HintSpread


class JointHintAnswer(BaseModel):
    """A joint against the tree's flat face, for the recipe's first backup coat in the air of the place now.

    `angle_deg` is the angle in steps of 5°; `times_flat` the joint's time over the face's by member;
    `air_assumed`: no air is known there now. `words` say it all.
    """

    angle_deg: float
    coat: int
    kind: str
    temp_c: float
    rh_pct: float
    air_speed_m_s: float
    air_assumed: bool
    fit_after_s: HintSpread
    flat_fit_after_s: HintSpread
    times_flat: HintSpread
    opened: list[OpenedShape]
    words: list[str]


def joint_hint_router(parts: Parts) -> APIRouter:
    """The call."""
    router = APIRouter(tags=["trees"])
    hints = JointHints(parts)

    @router.get("/api/joint-hint", responses=documented(404, 503))
    def joint_hint(
        place: Slug,
        recipe: Annotated[int, Query(ge=1, le=LARGEST_ID)],
        angle_deg: Annotated[float, Query(ge=SMALLEST_ANGLE_DEG, le=LARGEST_ANGLE_DEG)],
        size_mm: SizeMm = 25.0,
    ) -> JointHintAnswer:
        """A joint's drying time against a flat face's, and what opening it saves."""
        try:
            found = hints.ask(place, recipe, size_mm, angle_deg)
        except HintBusyError as busy:
            raise ProblemError(503, str(busy), "busy") from busy
        hint = found.hint
        return JointHintAnswer(
            angle_deg=found.angle_deg,
            coat=found.coat,
            kind=found.kind,
            temp_c=found.air.temp_c,
            rh_pct=found.air.rh_pct,
            air_speed_m_s=found.air.speed_m_s,
            air_assumed=found.assumed,
            fit_after_s=_shape(hint.joint if hint else NO_END),
            flat_fit_after_s=_shape(hint.flat if hint else NO_END),
            times_flat=_shape(hint.times_flat if hint else NO_END),
            opened=[
                OpenedShape(angle_deg=angle, saved_s=_shape(saved))
                for angle, saved in (hint.opened.items() if hint else ())
            ],
            words=list(found.words),
        )

    return router


def _shape(spread: Spread) -> HintSpread:
    return HintSpread(p10=spread.p10, p50=spread.p50, p90=spread.p90)
