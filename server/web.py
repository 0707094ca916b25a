"""The web application over its parts: API, pages, files, errors in plain words, and the guard before them
all."""

from collections.abc import Callable, Collection
from contextlib import AbstractAsyncContextManager
from pathlib import Path

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles

from server.access import Access
from server.api.problems import Problem, ProblemError, answer_problem
from server.api.router import api_router
from server.forwarded import Forwarded
from server.gate import Gate
from server.guard import LOOPBACK_HOSTS, Guard
from server.pages.access_routes import access_pages
from server.pages.beliefs_routes import beliefs_pages
from server.pages.burnout_routes import burnout_pages
from server.pages.calibrating_routes import calibrating_pages
from server.pages.events_routes import events_pages
from server.pages.history_routes import history_pages
from server.pages.measuring_routes import measuring_pages
from server.pages.new_tree_routes import new_tree_pages
from server.pages.next_dips_routes import next_dips_pages
from server.pages.other_nodes_routes import other_nodes_pages
from server.pages.render import answer_problem_page
from server.pages.router import page_router
from server.pages.settings_routes import settings_pages
from server.pages.spot_changes_routes import spot_changes_pages
from server.pages.tags_routes import tags_pages
from server.pages.together_routes import together_pages
from server.pages.told_routes import told_pages
from server.pages.wall_routes import wall_pages
from server.parts import Parts
from server.store.engine import StoreError

STATIC = Path(__file__).parent / "pages" / "static"

Lifespan = Callable[[FastAPI], AbstractAsyncContextManager[None]]


def web_app(
    parts: Parts,
    hosts: Collection[str] = LOOPBACK_HOSTS,
    lifespan: Lifespan | None = None,
    access: Access | None = None,
    proxies: Collection[str] = (),
    authority: Path | None = None,
) -> FastAPI:
    """Put the web side together.

    `hosts` are the names it answers to; `lifespan` runs what lives beside it; `access` says who may do what,
    and without it this machine's people may do all, as in the demo; `proxies` are addresses whose
    X-Forwarded headers are believed; `authority` is the file that phones are handed.
    """
    access = access or Access(parts.engine, parts.wall_clock, always_open=True)
    app = FastAPI(
        title="Slowcorner",
        summary="Which tree to dip next, judged at its slowest corner.",
        description="Advises on drying; it is no safety device. All times are UTC.",
        version="1",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
    )
    for kind in (ProblemError, RequestValidationError, HTTPException, StoreError, Exception):
        app.add_exception_handler(kind, _answer)
    app.include_router(api_router(parts))
    app.include_router(calibrating_pages(parts))
    app.include_router(burnout_pages(parts))
    app.include_router(history_pages(parts))
    app.include_router(measuring_pages(parts))
    app.include_router(other_nodes_pages(parts))
    app.include_router(next_dips_pages(parts))
    app.include_router(settings_pages(parts))
    app.include_router(beliefs_pages(parts))
    app.include_router(access_pages(parts, access, authority))
    app.include_router(events_pages(parts, access))
    app.include_router(new_tree_pages(parts))
    app.include_router(spot_changes_pages(parts))
    app.include_router(tags_pages(parts))
    app.include_router(told_pages(parts))
    app.include_router(together_pages(parts))
    app.include_router(wall_pages(parts))
    app.include_router(page_router(parts))
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    # The last one added is asked first. Streams of events are not compressed: each is sent as it is made.
    app.add_middleware(GZipMiddleware, minimum_size=500, compresslevel=6)
    app.add_middleware(Gate, access=access)
    app.add_middleware(Guard, hosts=hosts)
    app.add_middleware(Forwarded, trusted=proxies)
    _describe_problems(app)
    return app


async def _answer(request: Request, error: Exception) -> Response:
    """Problem details for programs, a page for people."""
    path = request.url.path
    if path.startswith("/api/") or path in ("/healthz", "/readyz", "/events"):
        return await answer_problem(request, error)
    return await answer_problem_page(request, error)


def _describe_problems(app: FastAPI) -> None:
    """Complete the OpenAPI description: what a problem is, and what is answered before any call."""
    described = app.openapi

    def with_problems() -> dict[str, object]:
        schema = described()
        schemas = schema.setdefault("components", {}).setdefault("schemas", {})
        if "Problem" not in schemas:
            problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
            schemas.update(problem.pop("$defs", {}))
            schemas["Problem"] = problem
            for path, calls in schema["paths"].items():
                for call in calls.values():
                    for status, words in _answers_before(path, "requestBody" in call).items():
                        call["responses"].setdefault(status, _problem_answer(words))
        return schema

    app.openapi = with_problems  # type: ignore[method-assign]


def _answers_before(path: str, has_body: bool) -> dict[str, str]:
    """What the guard, the gate and the reading of a body may answer, by status, before a call is reached."""
    answers = {} if path == "/healthz" else {"401": "Not signed in", "403": "Not for this role or scope"}
    if has_body:
        answers |= {"400": "The body cannot be read", "413": "The body is too large"}
    return answers


def _problem_answer(words: str) -> dict[str, object]:
    shape = {"schema": {"$ref": "#/components/schemas/Problem"}}
    return {"description": words, "content": {"application/problem+json": shape}}
