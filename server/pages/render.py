"""Turns a page's context into HTML. A name that a template uses and the context lacks is an error, never a
blank."""

import re
from dataclasses import fields

from fastapi import Request
from fastapi.responses import HTMLResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined

from server.api.problems import problem_for
from server.pages.all_pages import Page
from server.pages.contexts import Frame, ProblemPage
from server.pages.wording import sentence


def environment() -> Environment:
    """The templates, escaping everything that is not marked as HTML by us."""
    return Environment(
        loader=PackageLoader("server.pages"),
        # Looking at each file for a change lets the judge's thread in, six times for a page.
        auto_reload=False,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


_ENVIRONMENT = environment()


def template_name(page: type[Page]) -> str:
    """The template of a page.

    >>> from server.pages.shop import ShopPage
    >>> template_name(ShopPage)
    'shop.html'
    """
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", page.__name__.removesuffix("Page")).lower() + ".html"


def show(page: Page, status: int = 200) -> HTMLResponse:
    """A page as a response."""
    names = {field.name: getattr(page, field.name) for field in fields(page)}
    html = _ENVIRONMENT.get_template(template_name(type(page))).render(names)
    return HTMLResponse(html, status_code=status, headers={"Cache-Control": "no-store"})


async def answer_problem_page(request: Request, error: Exception) -> Response:
    """The exception handler of the pages: in plain words, with a way back. It asks nothing of the store."""
    problem = problem_for(error)
    around = Frame("It could not be done", "Slowcorner", "", "", 0, 1.0)
    kept = "Nothing was changed by this." if problem.status < 500 else "What was kept before is still kept."
    response = show(ProblemPage(around, sentence(problem.detail), kept, "/"), problem.status)
    response.headers.update(problem.headers or {})
    return response
