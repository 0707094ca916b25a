"""The web application over its parts: API, pages, files, errors in plain words, and the guard before them
all."""

from collections.abc import Callable, Collection
from contextlib import AbstractAsyncContextManager
from pathlib import Path

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from server.api.problems import Problem, ProblemError, answer_problem
from server.api.router import api_router
from server.guard import LOOPBACK_HOSTS, Guard
from server.pages.beliefs_routes import beliefs_pages
from server.pages.calibrating_routes import calibrating_pages
from server.pages.measuring_routes import measuring_pages
from server.pages.other_nodes_routes import other_nodes_pages
from server.pages.render import answer_problem_page
from server.pages.router import page_router
from server.parts import Parts
from server.store.engine import StoreError

STATIC = Path(__file__).parent / "pages" / "static"

Lifespan = Callable[[FastAPI], AbstractAsyncContextManager[None]]


def web_app(
    parts: Parts, hosts: Collection[str] = LOOPBACK_HOSTS, lifespan: Lifespan | None = None
) -> FastAPI:
    """Put the web side together. `hosts` are the names it answers to; `lifespan` runs what lives beside
    it."""
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
    app.include_router(measuring_pages(parts))
    app.include_router(other_nodes_pages(parts))
    app.include_router(beliefs_pages(parts))
    app.include_router(page_router(parts))
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.add_middleware(Guard, hosts=hosts)
    _describe_problems(app)
    return app


async def _answer(request: Request, error: Exception) -> Response:
    """Problem details for programs, a page for people."""
    path = request.url.path
    if path.startswith("/api/") or path in ("/healthz", "/readyz"):
        return await answer_problem(request, error)
    return await answer_problem_page(request, error)


def _describe_problems(app: FastAPI) -> None:
    """Put the shape of a problem into the OpenAPI description, which the calls only refer to."""
    described = app.openapi

    def with_problems() -> dict[str, object]:
        schema = described()
        schemas = schema.setdefault("components", {}).setdefault("schemas", {})
        if "Problem" not in schemas:
            problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
            schemas.update(problem.pop("$defs", {}))
            schemas["Problem"] = problem
        return schema

    app.openapi = with_problems  # type: ignore[method-assign]
