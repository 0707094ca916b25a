"""The page where a device is paired."""

from dataclasses import dataclass

from server.landing import HOME, on_the_way
from server.pages.contexts import Frame

USUAL_NAME = "Phone"
TRUST = "/phone"


@dataclass(frozen=True)
class PairPage:
    """A form for the code; `open_words` says so where nothing needs to be paired yet.

    `to` is where the device goes on to, and `onward` the words of that; `trust` is the way round by the
    phone's trust, which keeps it.
    """

    frame: Frame
    fault: str
    code: str
    name: str
    to: str
    onward: str
    trust: str
    open_words: str


def pair_page(
    code: str = "", name: str = USUAL_NAME, fault: str = "", to: str = HOME, is_open: bool = False
) -> PairPage:
    """The page, with what was typed. It says nothing of the shop, for strangers see it."""
    words = "Nobody has paired yet, so this machine’s own browsers need no code." if is_open else ""
    onward = "" if to == HOME else "Then the page that you were going to opens."
    return PairPage(
        bare_frame("Pair this device"), fault, code, name, to, onward, on_the_way(TRUST, to), words
    )


def bare_frame(title: str) -> Frame:
    """A frame that says nothing of the shop."""
    return Frame(title, "Slowcorner", "", "", 0, 1.0)
