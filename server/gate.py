"""Who is let in to what, before any page or call is asked."""

from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from server.access import ANYONE, COOKIE_S, Access, Visitor
from server.access import Scope as Right
from server.api.problems import ProblemError, answer_problem, problem_for
from server.landing import pairing_address
from server.pages.render import answer_problem_page
from server.store.engine import StoreError

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

PUBLIC = frozenset({"/pair", "/phone", "/phone/root.crt", "/healthz", "/sw.js", "/manifest.webmanifest"})
"""Open to all: what a phone needs before it is paired, and whether the service runs. Nothing of the shop."""

DEVICES = "/shop/devices"
PUSH = "/api/push/subscriptions"

FORWARDED = ("x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "forwarded")


class Gate:
    """ASGI middleware: the visitor stands in `request.state.visitor` for what is behind it."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self.app, self.access = app, access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in with its visitor, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        if is_public(request.url.path):  # asks nothing of the store, so that health is told without it
            await self.app(scope, receive, send)
            return
        try:
            visitor = await run_in_threadpool(visitor_of, request, self.access)
            refuse(request, visitor)
        except (ProblemError, StoreError) as error:
            await (await _answer(request, problem_for(error)))(scope, receive, send)
            return
        scope.setdefault("state", {})["visitor"] = visitor
        await self.app(scope, receive, send)


def visitor_of(request: Request, access: Access) -> Visitor | None:
    """Who asks; None for a stranger. A token that is shown must hold. Raises ProblemError."""
    kind, _, token = request.headers.get("authorization", "").partition(" ")
    if kind.lower() == "bearer":
        program = access.by_token(token.strip())
        if program is None:
            raise _unknown("this token is not known here, or was taken back")
        return program
    cookie = cookie_of(request)
    device = access.by_cookie(cookie) if cookie else None
    if device is not None:
        return device
    return ANYONE if access.is_open() and from_this_machine(request) else None


def may_ask(request: Request, access: Access) -> bool:
    """Whether who was let in with this request would be let in with it now."""
    try:
        refuse(request, visitor_of(request, access))
    except ProblemError:
        return False
    return True


def is_public(path: str) -> bool:
    """Whether a path is open to all.

    >>> is_public("/static/shop.css"), is_public("/shop")
    (True, False)
    """
    return path in PUBLIC or path.startswith("/static/")


def refuse(request: Request, visitor: Visitor | None) -> None:
    """Raise ProblemError where this visitor may not ask this."""
    path, method = request.url.path, request.method
    if visitor is None:
        raise _unknown("pair this device first, or show a token: Authorization: Bearer …")
    if visitor.program and not (path.startswith("/api/") or path in ("/events", "/readyz")):
        raise ProblemError(403, "a token opens the API, not the pages", "not-allowed")
    if visitor.device and method not in SAFE_METHODS and not _says_where_from(request.headers):
        # Every browser says so of what changes something; what says nothing is no page of ours.
        raise ProblemError(403, f"a {method} that does not say where it is from is not taken", "not-let-in")
    needed = right_for(method, path)
    if needed not in visitor.scopes:
        who = "this token has no scope for that" if visitor.program else "this device only looks"
        raise ProblemError(403, f"{who}: {method} {path} needs “{needed}”", "not-allowed")


def right_for(method: str, path: str) -> Right:
    """What a request needs.

    >>> right_for("GET", "/"), right_for("POST", "/trees/1/dips"), right_for("POST", "/api/readings")
    ('read', 'act', 'readings')
    >>> right_for("GET", "/shop/devices"), right_for("POST", "/api/push/subscriptions")
    ('act', 'read')
    """
    if path == DEVICES or path.startswith(DEVICES + "/"):
        return "act"
    if path == "/api/readings":
        return "readings"
    if path == PUSH or path.startswith(PUSH + "/"):
        return "read"  # who only looks is told as well
    return "read" if method in SAFE_METHODS else "act"


def cookie_name(secure: bool) -> str:
    """Under TLS a name that browsers take for this very host and over TLS alone (RFC 6265's successor)."""
    return "__Host-slowcorner" if secure else "slowcorner"


def cookie_of(request: Request) -> str:
    """The cookie's value, "" where there is none or none that can be read."""
    try:
        morsel = SimpleCookie(request.headers.get("cookie", "")).get(cookie_name(is_secure(request)))
    except CookieError:
        return ""
    return "" if morsel is None else morsel.value


def set_cookie(request: Request, response: Response, value: str) -> None:
    """Hand a device its cookie."""
    secure = is_secure(request)
    response.set_cookie(
        cookie_name(secure), value, max_age=COOKIE_S, path="/", secure=secure, httponly=True, samesite="lax"
    )


def is_secure(request: Request) -> bool:
    """Whether the browser came by TLS, to us or to the proxy that is trusted."""
    return str(request.scope.get("scheme")) == "https"


def from_this_machine(request: Request) -> bool:
    """Whether who asks sits at this machine: not so where a proxy passed it on for someone."""
    if request.client is None or any(name in request.headers for name in FORWARDED):
        return False
    try:
        return ip_address(request.client.host).is_loopback
    except ValueError:
        return False


def _says_where_from(headers: Headers) -> bool:
    return "origin" in headers or "sec-fetch-site" in headers


def _unknown(detail: str) -> ProblemError:
    return ProblemError(401, detail, "not-known-here", {"WWW-Authenticate": 'Bearer realm="slowcorner"'})


async def _answer(request: Request, problem: ProblemError) -> Response:
    path = request.url.path
    if path.startswith("/api/") or path in ("/readyz", "/events"):
        return await answer_problem(request, problem)
    if problem.status == 401 and request.method in SAFE_METHODS:
        return RedirectResponse(
            pairing_address(request), status_code=303, headers={"Cache-Control": "no-store"}
        )
    return await answer_problem_page(request, problem)
