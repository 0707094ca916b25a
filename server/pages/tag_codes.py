"""Addresses for tags, short and in either case, and their codes as pictures to print (ISO/IEC 18004).

In capitals an address keeps to the signs of a QR code's alphanumeric mode, which makes it a size smaller:
0-9, A-Z, blank and $%*+-./: (ISO/IEC 18004, table of the mode; segno implements it).
"""

import re
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import quote, urlsplit

import segno
from markupsafe import Markup

from server.plain_names import LONGEST_NAME, is_plain

LONGEST_ADDRESS = 100
MOST_HOOKS = 120
QUIET = 4
"""Modules of light round a code, which a camera needs (ISO/IEC 18004)."""

_EVERYWHERE = ("0.0.0.0", "::")


class TagError(ValueError):
    """What was typed cannot go on a tag: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class Code:
    """A tag's address, and its code as an SVG of so many millimetres."""

    address: str
    svg: Markup


def base_address(typed: str) -> str:
    """Where the tags lead, in capitals and without what is after the port. Raises TagError.

    >>> base_address(" http://foundry.local:8000/ "), base_address("https://[fe80::1]:8443")
    ('HTTP://FOUNDRY.LOCAL:8000', 'HTTPS://[FE80::1]:8443')
    >>> base_address("foundry.local")
    Traceback (most recent call last):
    ...
    server.pages.tag_codes.TagError: address 'foundry.local' does not begin with http:// or https://
    """
    text = typed.strip()
    shown = repr(text[:LONGEST_ADDRESS])
    if len(text) > LONGEST_ADDRESS:
        raise TagError(f"the address is {len(text)} signs long: it may have up to {LONGEST_ADDRESS}")
    if not text.lower().startswith(("http://", "https://")):
        raise TagError(f"address {shown} does not begin with http:// or https://")
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise TagError(f"address {shown} cannot be read: {error}") from None
    if not host or not re.fullmatch(r"[A-Za-z0-9.:-]+", host):
        raise TagError(f"address {shown} has no host that can be printed in a code")
    if parts.path not in ("", "/") or parts.query or parts.fragment or parts.username is not None:
        raise TagError(f"address {shown} has more than a host and a port")
    name = f"[{host}]" if ":" in host else host
    return f"{parts.scheme}://{name}{f':{port}' if port is not None else ''}".upper()


def unreachable(address: str) -> str:
    """Why a phone cannot reach that address; "" where nothing is known against it.

    >>> unreachable("HTTP://127.0.0.1:8000")
    '127.0.0.1 is each machine’s own name for itself: a phone would look for the shop in the phone'
    >>> unreachable("HTTP://FOUNDRY.LOCAL:8000")
    ''
    """
    host = (urlsplit(address).hostname or "").lower()
    try:
        itself = ip_address(host).is_loopback or host in _EVERYWHERE
    except ValueError:
        itself = host == "localhost" or host.endswith(".localhost")
    if not itself:
        return ""
    return f"{host} is each machine’s own name for itself: a phone would look for the shop in the phone"


def tree_address(base: str, tree_id: int) -> str:
    """The short address of a tree.

    >>> tree_address("HTTP://FOUNDRY.LOCAL:8000", 7)
    'HTTP://FOUNDRY.LOCAL:8000/T/7'
    """
    return f"{base}/T/{tree_id}"


def hook_address(base: str, hook: str) -> str:
    """The short address of a hook. What a code's alphanumeric mode lacks is written by its bytes.

    >>> hook_address("HTTP://FOUNDRY.LOCAL", "a3"), hook_address("HTTP://FOUNDRY.LOCAL", "left rail_2")
    ('HTTP://FOUNDRY.LOCAL/H/A3', 'HTTP://FOUNDRY.LOCAL/H/LEFT%20RAIL%5F2')
    """
    return f"{base}/H/{quote(hook.upper(), safe='').replace('_', '%5F').replace('~', '%7E')}"


def code_of(address: str, side_mm: float) -> Code:
    """The code of an address, its quiet zone within the square of that side [mm]."""
    made = segno.make(address, error="m", micro=False)
    modules = made.symbol_size(border=QUIET)[0]
    # Dark on white in both looks, for a camera does not read it otherwise.
    svg = made.svg_inline(scale=side_mm / modules, border=QUIET, unit="mm", dark="#000", light="#fff")
    return Code(address, Markup(svg))


def hooks_typed(text: str) -> tuple[str, ...]:
    """Hooks by name, and rows of them. Raises TagError.

    >>> hooks_typed("A1-A3, by the door ,B7")
    ('A1', 'A2', 'A3', 'by the door', 'B7')
    >>> hooks_typed("A1-A900")
    Traceback (most recent call last):
    ...
    server.pages.tag_codes.TagError: 'A1-A900' are 900 hooks: one sheet takes up to 120
    """
    found: dict[str, None] = {}
    for part in (part.strip() for part in text.split(",")):
        if not part:
            continue
        if len(part) > LONGEST_NAME or not is_plain(part):
            raise TagError(f"hook {part[:LONGEST_NAME]!r} is not one line of up to {LONGEST_NAME} signs")
        row = re.fullmatch(r"(\D*)([0-9]{1,4})\s*[-–]\s*(\D*)([0-9]{1,4})", part)
        if row and row[3] in ("", row[1]):
            first, last = int(row[2]), int(row[4])
            if last < first:
                raise TagError(f"{part!r} runs backwards")
            if last - first + 1 > MOST_HOOKS:
                raise TagError(f"{part!r} are {last - first + 1} hooks: one sheet takes up to {MOST_HOOKS}")
            found.update(dict.fromkeys(f"{row[1]}{number}" for number in range(first, last + 1)))
        else:
            found[part] = None
    if len(found) > MOST_HOOKS:
        raise TagError(f"{len(found)} hooks are too many: one sheet takes up to {MOST_HOOKS}")
    return tuple(found)
