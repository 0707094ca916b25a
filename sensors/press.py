"""Presses of a node's button: `{"hook": "A3", "id": "…", "t": …}` in JSON."""

from sensors.clock import Millis
from sensors.reading import KeptOutError, Press
from sensors.senml import load_json, moment, number
from sensors.topics import quoted

WORD_LIMIT = 64
"""A hook and an id are at most this many characters."""


def parse_press(payload: bytes, place: str, node: str, arrived: Millis) -> Press:
    """Read a press. `t` is a SenML time and may be left out: then it was on arrival [ms].

    Raises KeptOutError with the reason.

    >>> parse_press(b'{"hook": "A3", "id": "7f-1"}', "shop", "button", 1_700_000_000_000)
    Press(place='shop', node='button', hook='A3', id='7f-1', time=1700000000000)
    """
    said = load_json(payload)
    if not isinstance(said, dict):
        raise KeptOutError('not a press: it is {"hook": …, "id": …, "t": …}')
    hook, press_id = _word(said, "hook"), _word(said, "id")
    return Press(place, node, hook, press_id, moment(number("t", said.get("t", 0)), arrived))


def _word(said: dict[str, object], label: str) -> str:
    if label not in said:
        raise KeptOutError(f"the press has no {label}")
    word = said[label]
    if not isinstance(word, str) or not 1 <= len(word) <= WORD_LIMIT or not word.isprintable():
        raise KeptOutError(f"{label} {quoted(word)} is not a text of 1 to {WORD_LIMIT} printable characters")
    return word
