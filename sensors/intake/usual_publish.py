"""The message that nearly all are, read in a third of the time. Numbers are MQTT 5's sections."""

from functools import lru_cache

from sensors.intake.breach import ProtocolError
from sensors.intake.fields import Fields
from sensors.intake.packets import LEVEL_5, Publish

_USUAL_TOPIC = 200
"""Bytes of a topic, with its length, that is remembered."""


def usual_publish(body: bytes, flags: int, level: int) -> Publish | None:
    """A PUBLISH of quality of service 1 without properties (3.3); `body` is what stands behind its header.

    None for any other: `bodies.publish`, which knows every rule, then takes it or says what is wrong.
    """
    if flags >> 1 & 3 != 1 or len(body) < 2:
        return None
    at = 2 + (body[0] << 8 | body[1])
    if at > _USUAL_TOPIC:
        return None
    payload = at + (3 if level == LEVEL_5 else 2)
    if payload > len(body) or (level == LEVEL_5 and body[payload - 1]):
        return None
    packet_id = body[at] << 8 | body[at + 1]
    topic = _topic(body[:at])
    if topic is None or not packet_id:
        return None
    return Publish(topic, body[payload:], 1, packet_id, bool(flags & 0x01), bool(flags & 0x08))


@lru_cache(maxsize=1024)  # a node says the same one each time
def _topic(block: bytes) -> str | None:
    try:
        return Fields("PUBLISH", block).topic("topic")
    except ProtocolError:
        return None
