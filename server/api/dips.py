"""Dips: the next coat went on, and taking it back."""

from typing import Annotated

from fastapi import APIRouter, Header, Path, Response

from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, DipRequest, DipShape, to_millis
from server.api.trees import TreeId, dip_shape
from server.dip_desk import Kept, Saying, take_dip, undo_dip
from server.dipping import Question
from server.parts import Parts

Key = Annotated[
    str | None,
    Header(alias="Idempotency-Key", min_length=1, max_length=200, pattern=r"^[!-~]+$"),
]


def dips_router(parts: Parts) -> APIRouter:
    """The calls of dips."""
    router = APIRouter(prefix="/api/trees/{tree_id}/dips", tags=["dips"])

    @router.post("", status_code=201, responses=documented(404, 409) | {200: {"description": "Said before"}})
    def dip(
        tree_id: TreeId, response: Response, request: DipRequest | None = None, key: Key = None
    ) -> DipShape:
        """The next coat went on: now, or `at`. The same Idempotency-Key again is the same dip."""
        said = request or DipRequest()
        saying = Saying(
            at=None if said.at is None else to_millis(said.at),
            pot=said.pot,
            prewet=said.prewet,
            partial=said.partial,
            note=said.note or None,
            confirm=said.confirm,
            key=key,
            coat=said.coat,
        )
        match take_dip(parts, tree_id, saying):
            case Kept(dip=kept, again=again):
                response.status_code = 200 if again else 201
                return dip_shape(kept)
            case Question(question=question):
                detail = f'{question} Send it again with "confirm": true if it did.'
                raise ProblemError(409, detail, "question", question=question)
            case refusal:
                raise ProblemError(409 if refusal.conflict else 422, refusal.reason, refusal.rule)

    @router.delete("/{dip_id}", responses=documented(404, 409))
    def undo(tree_id: TreeId, dip_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> DipShape:
        """Take the latest dip back; it is kept, marked as undone. Once more changes nothing."""
        return dip_shape(undo_dip(parts, tree_id, dip_id))

    return router
