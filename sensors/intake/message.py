"""What one message of a node comes to, whichever way it came: the listener's, a broker's."""

from collections.abc import Sequence
from typing import NamedTuple

from sensors.clock import Millis
from sensors.mapping import Mapping, mapping_for, read_mapped
from sensors.press import parse_press
from sensors.reading import KeptOutError, NodeStatus, Press, Reading, Rejected
from sensors.senml import parse
from sensors.topics import parse_topic, quoted

SOURCE_LIMIT = 200
"""A topic goes into `Rejected.source` up to this many characters."""


class Message(NamedTuple):
    """Everything one message said, to be stored at once. `arrived` is shop time on arrival [ms]."""

    arrived: Millis
    readings: tuple[Reading, ...] = ()
    rejected: tuple[Rejected, ...] = ()
    statuses: tuple[NodeStatus, ...] = ()
    presses: tuple[Press, ...] = ()


def interpret(
    topic: str,
    payload: bytes,
    arrived: Millis,
    *,
    retained: bool = False,
    takes_presses: bool = True,
    mappings: Sequence[Mapping] = (),
) -> Message:
    """Read a message by its topic. Never raises: what cannot be taken is in `rejected` with its reason.

    `retained` is the message's retain flag; it matters to a status only, where a retained nothing takes back
    the word and says nothing. Without `takes_presses` a press is kept as rejected. `mappings` read what is
    published under other topics than ours.

    >>> interpret("slowcorner/shop/n1/status", b"online", 0).statuses
    (NodeStatus(place='shop', node='n1', online=True, at=0),)
    """
    other = mapping_for(mappings, topic) if mappings else None
    if other is not None:
        mapped = read_mapped(other, topic, payload, arrived)
        return Message(arrived, mapped.readings, mapped.rejected)
    try:
        return _interpret(topic, payload, arrived, retained, takes_presses)
    except KeptOutError as fault:
        return Message(arrived, rejected=(Rejected(_source(topic), str(fault), payload, arrived),))


def forbidden(topic: str, payload: bytes, arrived: Millis, user_name: str) -> Message:
    """A message kept out because its user may not publish under its topic.

    >>> forbidden("slowcorner/shop/n2/senml", b"[]", 0, "shop/n1").rejected[0].reason
    'user "shop/n1" may not publish under this topic'
    """
    reason = f"user {quoted(user_name)} may not publish under this topic"
    return Message(arrived, rejected=(Rejected(_source(topic), reason, payload, arrived),))


def is_read(topic: str, mappings: Sequence[Mapping] = ()) -> bool:
    """Whether anything is read under a topic.

    >>> is_read("slowcorner/shop/n1/senml"), is_read("weather/today")
    (True, False)
    """
    if mapping_for(mappings, topic) is not None:
        return True
    try:
        parse_topic(topic)
    except KeptOutError:
        return False
    return True


def _interpret(topic: str, payload: bytes, arrived: Millis, retained: bool, takes_presses: bool) -> Message:
    where = parse_topic(topic)
    match where.kind:
        case "senml":
            parsed = parse(payload, where.place, where.node, arrived, topic)
            return Message(arrived, parsed.readings, parsed.rejected)
        case "status":
            if retained and not payload:
                return Message(arrived)
            status = NodeStatus(where.place, where.node, _is_online(payload), arrived)
            return Message(arrived, statuses=(status,))
        case "dipped":
            press = parse_press(payload, where.place, where.node, arrived)
            if not takes_presses:
                hook = quoted(press.hook)
                raise KeptOutError(f"buttons are not taken yet: log the dip of hook {hook} on the page")
            return Message(arrived, presses=(press,))


def _is_online(payload: bytes) -> bool:
    if payload not in (b"online", b"offline"):
        said = quoted(payload.decode("utf-8", "replace"))
        raise KeptOutError(f'status {said} is neither "online" nor "offline"')
    return payload == b"online"


def _source(topic: str) -> str:
    return topic if topic.isprintable() and len(topic) <= SOURCE_LIMIT else quoted(topic, SOURCE_LIMIT)
