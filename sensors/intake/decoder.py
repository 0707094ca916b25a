"""MQTT 3.1.1 from bytes to packets, with no sockets. Numbers in brackets are the standard's sections.

`Decoder` takes bytes in pieces of any size and hands out packets. It raises `ProtocolError` and nothing else;
after one it is done for. Of MQTT 5 only the refusal is known. Where 5 puts its block of properties the
code is marked, so that a later level has its place.
"""

from collections.abc import Callable

from sensors.intake.encoder import encode
from sensors.intake.packets import (
    LEVEL,
    UNACCEPTABLE_CLIENT_ID,
    UNACCEPTABLE_LEVEL,
    Connack,
    Connect,
    Disconnect,
    Packet,
    Pingreq,
    Pingresp,
    ProtocolError,
    Puback,
    Publish,
    Suback,
    Subscribe,
    Unsuback,
    Unsubscribe,
    Will,
)

MAX_PACKET = 64 * 1024
"""The largest packet that is taken, header and all [bytes]."""

REFUSED_LEVEL_5 = b"\x20\x03\x00\x84\x00"
"""CONNACK in the form of MQTT 5 (its 3.2): reason 0x84, unsupported protocol version, and no properties."""

_NAMES = {
    1: "CONNECT",
    2: "CONNACK",
    3: "PUBLISH",
    4: "PUBACK",
    8: "SUBSCRIBE",
    9: "SUBACK",
    10: "UNSUBSCRIBE",
    11: "UNSUBACK",
    12: "PINGREQ",
    13: "PINGRESP",
    14: "DISCONNECT",
}
_QOS_2 = {5, 6, 7}
_FLAGS = {8: 0b0010, 10: 0b0010}
"""The flags of the first byte, fixed for all but PUBLISH, 0 where not named (2.2.2)."""


class Decoder:
    """Makes packets of the bytes that come. `level` is the protocol level, `max_packet` the limit [bytes]."""

    def __init__(self, level: int = LEVEL, max_packet: int = MAX_PACKET) -> None:
        if level != LEVEL:
            raise ValueError(f"MQTT protocol level {level} is not spoken; {LEVEL} (MQTT 3.1.1) is")
        self._level = level
        self._max_packet = max_packet
        self._buffer = bytearray()
        self._start = 0
        self._broken: ProtocolError | None = None

    def feed(self, data: bytes) -> None:
        """Take bytes as they came."""
        self._buffer += data

    def next_packet(self) -> Packet | None:
        """The next whole packet, or None until more bytes come.

        Raises ProtocolError as soon as the bytes cannot become a packet: for one over the size limit that is
        when its header is there.
        """
        if self._broken is not None:
            raise self._broken
        try:
            packet = self._next_packet()
        except ProtocolError as error:
            self._broken = error
            self._buffer.clear()
            raise
        if packet is None:  # let go of what was read, until more comes
            del self._buffer[: self._start]
            self._start = 0
        return packet

    def _next_packet(self) -> Packet | None:
        buffer, at = self._buffer, self._start
        if at == len(buffer):
            return None
        kind, flags = buffer[at] >> 4, buffer[at] & 0x0F
        if kind != 3 and (kind not in _NAMES or flags != _FLAGS.get(kind, 0)):
            raise ProtocolError(_bad_first_byte(kind, flags))
        # The remaining length (2.2.3): seven bits a byte, the lowest first, at most four bytes.
        length = shift = 0
        while True:
            at += 1
            if at == len(buffer):
                return None
            length |= (buffer[at] & 0x7F) << shift
            if buffer[at] < 0x80:
                break
            shift += 7
            if shift > 21:
                raise ProtocolError(f"{_NAMES[kind]}: the remaining length has more than 4 bytes")
        body, end = at + 1, at + 1 + length
        if end - self._start > self._max_packet:
            size = f"{_NAMES[kind]} of {end - self._start} bytes"
            raise ProtocolError(f"{size} is over the limit of {self._max_packet} bytes", too_large=True)
        if end > len(buffer):
            return None
        fields = _Fields(_NAMES[kind], bytes(buffer[body:end]))
        self._start = end
        packet = _publish(fields, flags) if kind == 3 else _DECODERS[kind](fields, self._level)
        fields.end()
        return packet


class _Fields:
    """Reads the fields of one packet, in their order."""

    def __init__(self, packet: str, data: bytes) -> None:
        self.packet = packet
        self._data = data
        self._at = 0

    def take(self, count: int, what: str) -> bytes:
        end = self._at + count
        if end > len(self._data):
            raise ProtocolError(f"{self.packet} ends within its {what}")
        taken = self._data[self._at : end]
        self._at = end
        return taken

    def byte(self, what: str) -> int:
        return self.take(1, what)[0]

    def short(self, what: str) -> int:
        return int.from_bytes(self.take(2, what), "big")

    def packet_id(self) -> int:
        packet_id = self.short("packet identifier")
        if packet_id == 0:
            raise ProtocolError(f"{self.packet} has packet identifier 0")
        return packet_id

    def block(self, what: str) -> bytes:
        return self.take(self.short(what), what)

    def text(self, what: str) -> str:
        """UTF-8 without half characters and without U+0000 (1.5.3)."""
        try:
            text = self.block(what).decode("utf-8")
        except UnicodeDecodeError:
            raise ProtocolError(f"{self.packet}: its {what} is not UTF-8") from None
        if "\0" in text:
            raise ProtocolError(f"{self.packet}: its {what} has a U+0000")
        return text

    def topic(self, what: str) -> str:
        """A topic to publish to: not empty, no wildcards (4.7.1, 4.7.3)."""
        topic = self.text(what)
        if not topic or "+" in topic or "#" in topic:
            raise ProtocolError(f"{self.packet}: its {what} is empty or has a wildcard")
        return topic

    def rest(self) -> bytes:
        return self.take(len(self._data) - self._at, "payload")

    def left(self) -> bool:
        return self._at < len(self._data)

    def end(self) -> None:
        if self.left():
            raise ProtocolError(f"{self.packet} has {len(self._data) - self._at} bytes too many")


def _bad_first_byte(kind: int, flags: int) -> str:
    if kind in _QOS_2:
        return "quality of service 2 is not taken: publish with 1"
    if kind in _NAMES:
        return f"{_NAMES[kind]} has reserved flags {flags:#x}"
    return f"packet type {kind} is reserved"


def _connect(fields: _Fields, level: int) -> Connect:
    name, said_level = fields.block("protocol name"), fields.byte("protocol level")
    if name == b"MQTT" and said_level == 5:
        raise ProtocolError("CONNECT asks for MQTT 5; MQTT 3.1.1 is spoken", REFUSED_LEVEL_5)
    if name not in (b"MQTT", b"MQIsdp"):
        raise ProtocolError(f"CONNECT has protocol name {name[:20]!r}, not MQTT")
    if name != b"MQTT" or said_level != level:
        refusal = encode(Connack(UNACCEPTABLE_LEVEL))
        raise ProtocolError(f"CONNECT asks for protocol level {said_level}; {level} is spoken", refusal)
    flags = fields.byte("flags")
    has_will, will_qos, will_retain = flags & 0x04, flags >> 3 & 3, flags & 0x20
    if flags & 0x01:
        raise ProtocolError("CONNECT has its reserved flag set")
    if will_qos == 3 or (not has_will and (will_qos or will_retain)):
        raise ProtocolError(f"CONNECT has will flags that contradict each other: {flags:#04x}")
    if flags & 0x40 and not flags & 0x80:
        raise ProtocolError("CONNECT has a password and no user name")
    keep_alive_s = fields.short("keep-alive")
    # MQTT 5: properties come here.
    client_id = fields.text("client identifier")
    if not client_id and not flags & 0x02:
        refusal = encode(Connack(UNACCEPTABLE_CLIENT_ID))
        raise ProtocolError("CONNECT has no client identifier and wants its session kept", refusal)
    will = None
    if has_will:
        # MQTT 5: the will's properties come here.
        will = Will(fields.topic("will topic"), fields.block("will message"), will_qos, bool(will_retain))
    user_name = fields.text("user name") if flags & 0x80 else None
    password = fields.block("password") if flags & 0x40 else None
    return Connect(client_id, bool(flags & 0x02), keep_alive_s, user_name, password, will)


def _connack(fields: _Fields, _level: int) -> Connack:
    flags, code = fields.byte("flags"), fields.byte("return code")
    if flags > 1 or code > 5 or (code and flags):
        raise ProtocolError(f"CONNACK has flags {flags:#x} and return code {code}")
    # MQTT 5: properties come here.
    return Connack(code, bool(flags))


def _publish(fields: _Fields, flags: int) -> Publish:
    qos = flags >> 1 & 3
    if qos == 3:
        raise ProtocolError("PUBLISH has quality of service 3")
    if flags & 0x08 and qos == 0:
        raise ProtocolError("PUBLISH is marked as sent again with quality of service 0")
    topic = fields.topic("topic")
    packet_id = fields.packet_id() if qos else None
    # MQTT 5: properties come here.
    return Publish(topic, fields.rest(), qos, packet_id, bool(flags & 0x01), bool(flags & 0x08))


def _subscribe(fields: _Fields, _level: int) -> Subscribe:
    packet_id = fields.packet_id()
    # MQTT 5: properties come here.
    filters: list[tuple[str, int]] = []
    while fields.left() or not filters:
        topic_filter, qos = _filter(fields), fields.byte("quality of service")
        if qos > 2:
            raise ProtocolError(f"SUBSCRIBE asks for quality of service {qos}")
        filters.append((topic_filter, qos))
    return Subscribe(packet_id, tuple(filters))


def _suback(fields: _Fields, _level: int) -> Suback:
    packet_id, codes = fields.packet_id(), fields.rest()
    if not codes or any(code > 2 and code != 0x80 for code in codes):
        raise ProtocolError(f"SUBACK has return codes {codes[:20]!r}")
    return Suback(packet_id, tuple(codes))


def _unsubscribe(fields: _Fields, _level: int) -> Unsubscribe:
    packet_id = fields.packet_id()
    # MQTT 5: properties come here.
    filters: list[str] = []
    while fields.left() or not filters:
        filters.append(_filter(fields))
    return Unsubscribe(packet_id, tuple(filters))


def _filter(fields: _Fields) -> str:
    topic_filter = fields.text("topic filter")
    if not topic_filter:
        raise ProtocolError(f"{fields.packet} has an empty topic filter")
    return topic_filter


_DECODERS: dict[int, Callable[[_Fields, int], Packet]] = {
    1: _connect,
    2: _connack,
    4: lambda fields, _level: Puback(fields.packet_id()),
    8: _subscribe,
    9: _suback,
    10: _unsubscribe,
    11: lambda fields, _level: Unsuback(fields.packet_id()),
    12: lambda _fields, _level: Pingreq(),
    13: lambda _fields, _level: Pingresp(),
    14: lambda _fields, _level: Disconnect(),
}
