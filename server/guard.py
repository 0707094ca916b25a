"""What every request passes first: the host it names, where a form came from; and the headers every answer
bears.

A page of some other site can make a browser send forms here, and a name server can make a strange name
point here.
So a request must name a host that is ours, and what changes something must not come from another site.
"""

import re
from collections.abc import Collection
from ipaddress import ip_address

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.api.problems import problem_response
from server.photographs import LARGEST_UPLOAD

LOOPBACK_HOSTS = frozenset({"localhost", "127.0.0.1", "[::1]"})

ANY_ADDRESS = "*"
"""Among the hosts: any address in figures."""

LARGEST_BODY = 1_048_576
"""The largest body of a request [bytes]; single calls may allow less."""

LARGEST_PHOTOGRAPH_BODY = LARGEST_UPLOAD + 65_536
"""The same where a photograph comes, with the form around it [bytes]."""

_PHOTOGRAPHS = re.compile(r"(/api)?/trees/\d{1,10}/(notes|photographs)")

_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
        "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Guard:
    """ASGI middleware; `hosts` are the names, without port, under which the service may be asked.

    With `ANY_ADDRESS` among them, also every address in figures: no name server can make a strange name of
    one, and a machine's own may change under way.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str] = LOOPBACK_HOSTS) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request in, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        taken, most = 0, largest_body(scope["method"], scope["path"])

        async def receive_so_much() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > most:
                raise HTTPException(413, _too_large(f"more than {most}", most))
            return message

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        headers = Headers(scope=scope)
        fault = objection(scope["method"], headers, self.hosts, scope.get("scheme", "http"), most)
        if fault is None:
            await self.app(scope, receive_so_much, send_with_headers)
        else:
            status, detail = fault
            await problem_response(status, detail, "not-let-in")(scope, receive, send_with_headers)


def objection(
    method: str,
    headers: Headers,
    hosts: Collection[str],
    scheme: str = "http",
    most: int = LARGEST_BODY,
) -> tuple[int, str] | None:
    """Why a request is not let in: a status and the reason; None where it is."""
    host = headers.get("host", "")
    name = host_name(host)
    if name not in hosts and not (ANY_ADDRESS in hosts and _is_address(name)):
        return 421, f"this service does not answer to the host {host!r}"
    length = headers.get("content-length", "0")
    if not length.isdigit() or int(length) > most:
        return 413, _too_large(length[:20], most)
    if method in _SAFE_METHODS:
        return None
    site = headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        return 403, f"a {method} from another site is not taken (Sec-Fetch-Site: {site})"
    origin = headers.get("origin")
    if origin is not None and origin.lower() != f"{scheme}://{host.lower()}":
        return 403, f"a {method} from another site is not taken (Origin: {origin})"
    return None


def _is_address(name: str) -> bool:
    try:
        ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        return False
    return True


def largest_body(method: str, path: str) -> int:
    """The largest body of a request [bytes]: a photograph may be larger than anything else.

    >>> largest_body("POST", "/trees/1/dips"), largest_body("POST", "/trees/1/notes")
    (1048576, 12648448)
    """
    return LARGEST_PHOTOGRAPH_BODY if method == "POST" and _PHOTOGRAPHS.fullmatch(path) else LARGEST_BODY


def _too_large(size: str, most: int) -> str:
    return f"a body of {size} bytes is not taken: the limit is {most} bytes"


def host_name(host: str) -> str:
    """The name in a Host header, without its port.

    >>> host_name("127.0.0.1:8000"), host_name("[::1]:8000"), host_name("LocalHost")
    ('127.0.0.1', '[::1]', 'localhost')
    """
    name, colon, port = host.lower().rpartition(":")
    return name if colon and port.isdigit() and not name.endswith(":") else host.lower()
