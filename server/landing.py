"""Where a browser lands once its device is paired: where it was going, and never off this service."""

from urllib.parse import urlencode

from starlette.requests import Request

PAIRING = "/pair"
HOME = "/"
LONGEST = 2000
"""So many signs an address may have that is kept over the pairing; a longer one leads to the rack."""


def pairing_address(request: Request) -> str:
    """The pairing page, which keeps where this request was going."""
    path = (request.scope.get("raw_path") or request.url.path.encode()).decode("ascii", "replace")
    query = request.url.query
    return on_the_way(PAIRING, f"{path}?{query}" if query else path)


def on_the_way(address: str, meant: str) -> str:
    """The address of a step of the pairing that goes on to `meant` in the end.

    >>> on_the_way("/phone", "/T/7?from=tag"), on_the_way("/phone", "//evil.example")
    ('/phone?to=%2FT%2F7%3Ffrom%3Dtag', '/phone')
    """
    meant = landing(meant)
    return address if meant == HOME else f"{address}?{urlencode({'to': meant})}"


def landing(meant: str) -> str:
    """The address to go on to: `meant` where it is a path of this service, else the rack.

    A link can bring any address to the pairing page. Browsers take `//` as the beginning of another host's
    name, a backslash for a slash, and drop tabs and line ends before they look (WHATWG URL, from memory): so
    only visible ASCII without a backslash is let through. The pairing page itself leads on to the rack.

    >>> landing("/T/7?from=tag"), landing("/h/A%203")
    ('/T/7?from=tag', '/h/A%203')
    >>> {landing(one) for one in ("//evil.example", "https://evil.example", "", "/pair?to=/")}
    {'/'}
    """
    own = meant.startswith("/") and not meant.startswith("//") and len(meant) <= LONGEST
    plain = all("!" <= sign <= "~" and sign != "\\" for sign in meant)
    again = meant.partition("?")[0].partition("#")[0] == PAIRING
    return meant if own and plain and not again else HOME
