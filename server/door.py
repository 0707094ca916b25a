"""What the plain port does beside HTTPS: it hands a phone the authority, and sends everything else on."""

from collections.abc import Collection
from pathlib import Path

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from server.guard import Guard, host_name
from server.landing import HOME
from server.pages.phone_trust import ROOT_PATH, phone_trust_page, root_answer
from server.pages.render import show

STATIC = Path(__file__).parent / "pages" / "static"


def door_app(authority: Path, hosts: Collection[str], tls_port: int) -> Starlette:
    """The application at the plain port; it knows nothing of the shop."""

    def phone(request: Request) -> Response:
        host = host_name(request.headers["host"])
        to = request.query_params.get("to", HOME)
        return show(phone_trust_page(authority, f"https://{host}:{tls_port}", to))

    def root(_request: Request) -> Response:
        return root_answer(authority)

    def onwards(request: Request) -> Response:
        host = host_name(request.headers["host"])
        query = f"?{request.url.query}" if request.url.query else ""
        return RedirectResponse(f"https://{host}:{tls_port}{request.url.path}{query}", status_code=307)

    app = Starlette(
        routes=[
            Route("/phone", phone),
            Route(ROOT_PATH, root),
            Mount("/static", StaticFiles(directory=STATIC)),
            Route("/{rest:path}", onwards),
        ]
    )
    app.add_middleware(Guard, hosts=hosts)
    return app
