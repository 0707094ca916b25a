"""The check before burnout over the wire: the answer with every reason, clearing, reopening, castings."""

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Path, Query, Response

from server.api.burnout_shapes import (
    AnswersRequest,
    CastingRequest,
    CastingShape,
    CheckAnswer,
    ClearingShape,
    ClearRequest,
    PatchRequest,
    PatchSaid,
    ReopenRequest,
    casting_shape,
    check_answer,
    clearing_shape,
)
from server.api.csv_tables import csv_of
from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, to_millis
from server.api.trees import TreeId
from server.burnout_cautions import BURNOUT_CHECK
from server.burnout_desk import ClearingError, SaidClearing, answer, clear, reopen, say_patch, undo_patch
from server.burnout_record import check_of
from server.casting_desk import say_casting, year_of_checks
from server.dip_desk import known_tree
from server.parts import Parts
from server.store import castings, clearings
from server.store.castings import NewCasting
from server.store.clearings import NewPatch

PartId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Year = Annotated[int, Query(ge=2000, le=2200, description="the year of the clearings, UTC")]


def burnout_router(parts: Parts) -> APIRouter:
    """The check before burnout over these parts."""
    router = APIRouter(prefix="/api/trees/{tree_id}", tags=["burnout"])
    whole = APIRouter()

    def shown(tree_id: int) -> CheckAnswer:
        check = check_of(parts, tree_id)
        return check_answer(check, clearings.clearings(parts.engine, tree_id), BURNOUT_CHECK)

    def patch_of(said: PatchSaid) -> NewPatch:
        at = parts.clock.now() if said.at is None else to_millis(said.at)
        return NewPatch(said.spot, said.thickness_mm, at, said.size_mm, said.where)

    @router.get("/burnout-check", responses=documented(404))
    def check(tree_id: TreeId) -> CheckAnswer:
        """Dry through or not, with every reason; of a cleared tree as it stood when it was cleared."""
        return shown(tree_id)

    @router.post("/burnout-check/answers", responses=documented(404, 409))
    def say(tree_id: TreeId, request: AnswersRequest) -> CheckAnswer:
        """Answer questions of the check: what the tool cannot see, and whether a hollow is packed."""
        try:
            answer(parts, tree_id, request.answers, request.who)
        except ClearingError as error:
            raise ProblemError(422, str(error), "question") from error
        return shown(tree_id)

    @router.post("/burnout-check/clear", status_code=201, responses=documented(404, 409))
    def clear_tree(tree_id: TreeId, request: ClearRequest) -> ClearingShape:
        """A person clears the tree. Over another answer than "dry through" only with a reason in `why`."""
        try:
            cleared = clear(parts, tree_id, SaidClearing(request.who, request.why, request.ticked))
        except ClearingError as error:
            raise ProblemError(409, str(error), "reason-wanted") from error
        return clearing_shape(cleared)

    @router.post("/reopen", responses=documented(404, 409))
    def reopen_tree(tree_id: TreeId, request: ReopenRequest) -> CheckAnswer:
        """Take the clearing back; with `patch` a new drying begins at its spot."""
        patch = None if request.patch is None else patch_of(request.patch)
        try:
            reopen(parts, tree_id, request.who, request.why, patch)
        except ClearingError as error:
            raise ProblemError(422, str(error), "patch") from error
        return shown(tree_id)

    @router.post("/patches", status_code=201, responses=documented(404, 409))
    def patch(tree_id: TreeId, request: PatchRequest) -> CheckAnswer:
        """A patch went on over the last coat of a tree on the rack; its drying and rest begin anew."""
        try:
            say_patch(parts, tree_id, request.who, patch_of(request))
        except ClearingError as error:
            raise ProblemError(422, str(error), "patch") from error
        return shown(tree_id)

    @router.delete("/patches/{patch_id}", responses=documented(404, 409))
    def no_patch(tree_id: TreeId, patch_id: PartId) -> CheckAnswer:
        """Take a patch back; it is kept, marked."""
        known_tree(parts, tree_id)
        undo_patch(parts, tree_id, patch_id)
        return shown(tree_id)

    @router.get("/castings", responses=documented(404))
    def castings_of(tree_id: TreeId) -> list[CastingShape]:
        """What came of casting this tree, what was taken back too."""
        known_tree(parts, tree_id)
        return [casting_shape(one) for one in castings.castings(parts.engine, tree_id)]

    @router.post("/castings", status_code=201, responses=documented(404, 409))
    def cast(tree_id: TreeId, request: CastingRequest) -> CastingShape:
        """What came of casting a cleared tree."""
        new = NewCasting(request.outcome, request.who, request.spot, request.where, request.note)
        try:
            return casting_shape(say_casting(parts, tree_id, new))
        except ClearingError as error:
            raise ProblemError(422, str(error), "spot") from error

    @router.delete("/castings/{casting_id}", responses=documented(404))
    def not_cast(tree_id: TreeId, casting_id: PartId) -> list[CastingShape]:
        """Take back what was said of a casting; it is kept, marked."""
        known_tree(parts, tree_id)
        castings.undo_casting(parts.engine, tree_id, casting_id, parts.clock.now())
        return [casting_shape(one) for one in castings.castings(parts.engine, tree_id)]

    @whole.get(
        "/api/burnout-checks.csv",
        tags=["burnout"],
        responses=documented() | {200: {"content": {"text/csv": {}}}},
        response_class=Response,
    )
    def year(year: Year) -> Response:
        """The clearings of a year as CSV (RFC 4180)."""
        start, end = (to_millis(datetime(one, 1, 1, tzinfo=UTC)) for one in (year, year + 1))
        return csv_of(year_of_checks(parts, start, end), f"burnout-checks-{year}.csv")

    whole.include_router(router)
    return whole
