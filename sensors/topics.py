"""Topics: `slowcorner/<place>/<node>/senml|status|dipped`, and what a place or a node may be called."""

import json
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, cast, get_args

from sensors.reading import KeptOutError

Kind = Literal["senml", "status", "dipped"]
"""What a node talks about: its readings, whether it is there, a press of its button."""

ROOT = "slowcorner"
KINDS: tuple[str, ...] = get_args(Kind)
RACK = "rack"
"""The service publishes its own decisions under this name, so that no place may have it."""

_SLUG = re.compile(r"[a-z0-9_-]{1,64}")


@dataclass(frozen=True, slots=True)
class Topic:
    """Where a message belongs."""

    place: str
    node: str
    kind: Kind

    def __str__(self) -> str:
        return f"{ROOT}/{self.place}/{self.node}/{self.kind}"


def quoted(value: object, limit: int = 60) -> str:
    """What was said, for a reason: quoted, control signs and all beyond ASCII escaped, cut at `limit`.

    >>> quoted("a\\x00b"), quoted(float("nan")), quoted("x" * 100, 8)
    ('"a\\\\u0000b"', 'NaN', '"xxxxxxx…')
    """
    if isinstance(value, dict):
        return "{…}"
    if isinstance(value, list):
        return "[…]"
    text = json.dumps(value)
    return text if len(text) <= limit else text[:limit] + "…"


def check_slug(what: str, name: str) -> None:
    """Check what a place or a node is called; `what` is "place" or "node" and goes into the reason.

    Raises KeptOutError when it is not 1 to 64 of a–z, 0–9, - and _, or is a place by the name of `rack`.

    >>> check_slug("place", "dip-room_2")
    >>> check_slug("place", "rack")
    Traceback (most recent call last):
    ...
    sensors.reading.KeptOutError: place "rack" is a name the service keeps for itself: call it something else
    """
    if not _SLUG.fullmatch(name):
        raise KeptOutError(f"{what} {quoted(name)} is not 1 to 64 characters of a-z, 0-9, - and _")
    if what == "place" and name == RACK:
        raise KeptOutError(
            f"place {quoted(name)} is a name the service keeps for itself: call it something else"
        )


@lru_cache(maxsize=1024)  # a node says the same one each time
def parse_topic(topic: str) -> Topic:
    """Read a topic.

    Raises KeptOutError with the reason when it is none that a node publishes to.

    >>> parse_topic("slowcorner/dip-room/n1/senml")
    Topic(place='dip-room', node='n1', kind='senml')
    """
    parts = topic.split("/")
    if len(parts) != 4 or parts[0] != ROOT:
        raise KeptOutError(
            f"topic {quoted(topic)} is not of the form {ROOT}/<place>/<node>/{'|'.join(KINDS)}"
        )
    _, place, node, kind = parts
    if kind not in KINDS:
        raise KeptOutError(f"topic {quoted(topic)} ends in {quoted(kind)}; it may end in {', '.join(KINDS)}")
    check_slug("place", place)
    check_slug("node", node)
    return Topic(place, node, cast(Kind, kind))
