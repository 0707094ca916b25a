"""Devices and programs: who is let in, and how to let in another one or none."""

from dataclasses import dataclass

import segno
from markupsafe import Markup

from sensors.clock import Millis
from server.access import Access
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words
from server.parts import Parts
from server.store import access as kept

ROLE_WORDS = {"acts": "acts", "looks": "only looks"}
SCOPE_WORDS = {"read": "reads", "act": "acts", "readings": "sends readings"}


@dataclass(frozen=True)
class AdmittedRow:
    """A device or a program that is let in."""

    id: int
    name: str
    may: str
    since: str
    seen: str
    here: bool


@dataclass(frozen=True)
class DevicesPage:
    """Devices, programs, and a code or a token that was just made and is told only now."""

    frame: Frame
    state: str
    fault: str
    code: str
    code_address: str
    code_picture: Markup
    token: str
    devices: tuple[AdmittedRow, ...]
    tokens: tuple[AdmittedRow, ...]


def devices_page(
    parts: Parts,
    access: Access,
    here: int,
    code: str = "",
    code_address: str = "",
    token: str = "",
    fault: str = "",
) -> DevicesPage:
    """The page; `here` is the device that looks at it, `code_address` where the code is typed in."""
    shop = shop_now(parts)
    now = parts.wall_clock()
    return DevicesPage(
        frame=frame(parts, shop, "Devices and programs", "shop"),
        state=_state(access),
        fault=fault,
        code=spaced(code),
        code_address=code_address,
        code_picture=_picture(code_address) if code_address else Markup(),
        token=token,
        devices=tuple(
            AdmittedRow(
                one.id,
                one.name,
                ROLE_WORDS[one.role],
                _when(one.paired, now, shop),
                f"here about {_when(one.seen, now, shop)}",
                one.id == here,
            )
            for one in kept.devices(parts.engine)
        ),
        tokens=tuple(
            AdmittedRow(
                one.id,
                one.name,
                ", ".join(SCOPE_WORDS[scope] for scope in one.scopes),
                _when(one.made, now, shop),
                "not used yet" if one.seen is None else f"used about {_when(one.seen, now, shop)}",
                False,
            )
            for one in kept.tokens(parts.engine)
        ),
    )


def spaced(code: str) -> str:
    """A code in two groups, as it is read out.

    >>> spaced("ABCDEFGH")
    'ABCD EFGH'
    """
    return f"{code[:4]} {code[4:]}".strip()


def _state(access: Access) -> str:
    if access.is_demo:
        return "This is the demo: it is open to this machine, and to no other."
    if access.is_open():
        return (
            "Nobody has paired yet: this machine’s own browsers and programs may do all, and no other "
            "machine is served. From the first pairing on everyone needs one."
        )
    return "Everyone needs a paired device or a token, at this machine too."


def _picture(address: str) -> Markup:
    # ISO/IEC 18004; dark on white in both looks, for a camera does not read it otherwise.
    code = segno.make(address, micro=False)
    return Markup(code.svg_inline(scale=6, dark="#000", light="#fff", border=4))


def _when(moment: Millis, now: Millis, shop: Shop) -> str:
    return clock_words(moment, now, shop.zone)
