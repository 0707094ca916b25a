"""Behind a proxy: what the browser asked, as the proxy says it; believed of proxies that were named alone."""

from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Receive, Scope, Send


class Forwarded:
    """ASGI middleware: takes X-Forwarded-Proto, -Host and -For of trusted addresses for the request's own.

    The last entry of each counts, for it is the one that the nearest proxy wrote. Headers of anyone else
    stay as they came and mean nothing but that there is a proxy.
    """

    def __init__(self, app: ASGIApp, trusted: Collection[str]) -> None:
        self.app, self.trusted = app, frozenset(trusted)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on as the browser sent it."""
        client = scope.get("client")
        if scope["type"] == "http" and client and client[0] in self.trusted:
            scope = dict(scope)
            headers = Headers(scope=scope)
            proto, host, whose = (_last(headers, f"x-forwarded-{name}") for name in ("proto", "host", "for"))
            if proto in ("http", "https"):
                scope["scheme"] = proto
            if host:
                scope["headers"] = list(scope["headers"])
                MutableHeaders(scope=scope)["host"] = host
            if whose:
                scope["client"] = (whose, 0)
        await self.app(scope, receive, send)


def _last(headers: Headers, name: str) -> str:
    return ",".join(headers.getlist(name)).rpartition(",")[2].strip().lower()
