"""GET /api/trees/{id}/what-if: what a fan, other air or a more open joint would save."""

from fastapi import APIRouter
from pydantic import BaseModel

from server.api.problems import ProblemError, documented
from server.api.trees import TreeId
from server.dip_desk import known_tree
from server.drying.whatif import Change, Spread
from server.parts import Parts


class SecondsShape(BaseModel):
    """A length of time that is not known exactly [s]; null where it has no end in sight."""

    p10: float | None
    p50: float | None
    p90: float | None


class ChangeShape(BaseModel):
    """One thing that could be done: when the tree would be fit and what that saves, or why it is not tried.

    `fit_after_s` counts from now, for an opened joint from the dip of another tree; `saved_s` is null where
    without the change there is no end in sight.
    """

    change: str
    words: str
    refused: str | None
    fit_after_s: SecondsShape
    saved_s: SecondsShape


class WhatIfAnswer(BaseModel):
    """A tree as it is, what could be done, and what to mind."""

    id: int
    label: str
    fit_after_s: SecondsShape
    changes: list[ChangeShape]
    notes: list[str]


def what_if_router(parts: Parts) -> APIRouter:
    """The call."""
    router = APIRouter(tags=["trees"])

    @router.get("/api/trees/{tree_id}/what-if", responses=documented(404, 409))
    def what_if(tree_id: TreeId) -> WhatIfAnswer:
        """What would save time on this tree's coat; 409 while none is drying in air that is known."""
        tree = known_tree(parts, tree_id)
        found = parts.rack.what_if(tree_id)
        if found is None:
            detail = f"{tree.label} has no coat that dries in air that is known, so nothing can be compared"
            raise ProblemError(409, detail, "nothing-to-compare")
        return WhatIfAnswer(
            id=tree.id,
            label=tree.label,
            fit_after_s=_seconds(found.as_it_is),
            changes=[_change(change) for change in found.changes],
            notes=list(found.notes),
        )

    return router


def _change(change: Change) -> ChangeShape:
    return ChangeShape(
        change=change.code,
        words=change.words,
        refused=change.refused or None,
        fit_after_s=_seconds(change.fit_after),
        saved_s=_seconds(change.saved),
    )


def _seconds(spread: Spread) -> SecondsShape:
    return SecondsShape(p10=spread.p10, p50=spread.p50, p90=spread.p90)
