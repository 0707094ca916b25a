"""Errors as RFC 9457 problem details: what happened, with the thing, the value and the limit, in plain
words."""

from collections.abc import Iterable, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, ConfigDict
from starlette.exceptions import HTTPException

from server.store.engine import FullDisk, RefusedError, StoreError, UnknownError

MEDIA_TYPE = "application/problem+json"


class FieldFault(BaseModel):
    """One thing that is wrong in what was sent: where it is, and what is wrong with it."""

    where: str
    fault: str


class Problem(BaseModel):
    """Problem details (RFC 9457). `question` is there where sending it again with `confirm` would be
    taken."""

    model_config = ConfigDict(extra="allow")

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    question: str | None = None
    faults: list[FieldFault] | None = None


class ProblemError(Exception):
    """Ends a request with a problem. `rule` names the kind of problem; the detail is one plain sentence."""

    def __init__(
        self,
        status: int,
        detail: str,
        rule: str | None = None,
        headers: dict[str, str] | None = None,
        **more: Any,
    ) -> None:
        super().__init__(detail)
        self.status, self.detail, self.rule, self.headers, self.more = status, detail, rule, headers, more


def problem_response(
    status: int, detail: str, rule: str | None = None, headers: dict[str, str] | None = None, **more: Any
) -> JSONResponse:
    """Problem details as a response. A rule becomes the problem's type, a URN of our own."""
    problem = Problem(
        type=f"urn:slowcorner:problem:{rule}" if rule else "about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        **more,
    )
    return JSONResponse(
        problem.model_dump(exclude_none=True), status_code=status, headers=headers, media_type=MEDIA_TYPE
    )


def problem_for(error: Exception) -> ProblemError:
    """What any error of the service means to the one who asked."""
    match error:
        case ProblemError():
            return error
        case RequestValidationError():
            faults = [_fault(one) for one in error.errors()]
            detail = "; ".join(f"{fault.where}: {fault.fault}" for fault in faults) or "it cannot be read"
            return ProblemError(422, detail, "not-valid", faults=faults)
        case HTTPException():
            headers = dict(error.headers) if error.headers else None
            return ProblemError(error.status_code, str(error.detail), None, headers)
        case UnknownError():
            return ProblemError(404, str(error), "not-known")
        case RefusedError():
            return ProblemError(409, str(error), "contradicts-the-store")
        case FullDisk():
            return ProblemError(507, str(error), "disk-full")
        case StoreError():
            return ProblemError(503, str(error), "store")
        case _:
            return ProblemError(500, "the service has a fault of its own; its log says more", "own-fault")


async def answer_problem(request: Request, error: Exception) -> Response:
    """The exception handler of the API."""
    problem = problem_for(error)
    return problem_response(problem.status, problem.detail, problem.rule, problem.headers, **problem.more)


def documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The `responses` of a call for OpenAPI: these statuses come as problem details."""
    return {
        status: {
            "description": HTTPStatus(status).phrase,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status in sorted({*statuses, 422})
    }


def _fault(error: Any) -> FieldFault:
    """One fault in words: pydantic's own sentence, with the value where it is short enough to say."""
    where = _where(error.get("loc", ()))
    fault = str(error.get("msg", "cannot be read"))
    fault = fault.removeprefix("Value error, ")
    value = error.get("input")
    if isinstance(value, str | int | float | bool) and len(str(value)) <= 60 and repr(value) not in fault:
        fault = f"{fault} (got {value!r})"
    return FieldFault(where=where, fault=fault)


def _where(loc: Sequence[str | int] | Iterable[str | int]) -> str:
    """Names the place of a fault as a person would: `spots[1].code` rather than a tuple.

    >>> _where(("body", "spots", 1, "code")), _where(("query", "from")), _where(("body",))
    ('spots[1].code', 'from', 'body')
    """
    parts = list(loc)
    inner = parts[1:] if len(parts) > 1 and parts[0] in ("body", "query", "path", "header") else parts
    text = ""
    for part in inner:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text or "request"
