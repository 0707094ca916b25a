"""MQTT 3.1.1 and 5 from bytes to packets, with no sockets. Numbers in brackets are 3.1.1's sections.

`Decoder` takes bytes in pieces of any size and hands out packets. It raises `ProtocolError` and nothing else;
after one it is done for.
"""

from sensors.intake.bodies import BODIES, connect, connect_level, publish
from sensors.intake.breach import ProtocolError
from sensors.intake.fields import Fields
from sensors.intake.framing import remaining_length
from sensors.intake.packets import LEVEL, LEVEL_5, Packet
from sensors.intake.reason_codes import Reason
from sensors.intake.usual_publish import usual_publish

MAX_PACKET = 64 * 1024
"""The largest packet that is taken, header and all [bytes]."""

_CONNECT, _PUBLISH, _AUTH = 1, 3, 15
_NAMES = {_CONNECT: "CONNECT", _PUBLISH: "PUBLISH"} | {kind: name for kind, (name, _) in BODIES.items()}
_QOS_2 = {5, 6, 7}
_FLAGS = {8: 0b0010, 10: 0b0010}
"""The flags of the first byte, fixed for all but PUBLISH, 0 where not named (2.2.2)."""


class Decoder:
    """Makes packets of the bytes that come.

    `level` is the protocol level until a CONNECT settles it, `max_packet` the limit [bytes].
    """

    def __init__(self, level: int = LEVEL, max_packet: int = MAX_PACKET) -> None:
        if level not in (LEVEL, LEVEL_5):
            raise ValueError(f"MQTT protocol level {level} is not spoken; {LEVEL} and {LEVEL_5} are")
        self.level = level
        self._max_packet = max_packet
        self._buffer = bytearray()
        self._start = 0
        self._broken: ProtocolError | None = None

    def feed(self, data: bytes) -> None:
        """Take bytes as they came."""
        self._buffer += data

    @property
    def is_within_packet(self) -> bool:
        """Whether bytes of a packet are there that is not whole."""
        return self._start < len(self._buffer)

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
        if kind != _PUBLISH:
            self._check_first_byte(kind, flags)
        found = remaining_length(_NAMES[kind], buffer, at + 1)
        if found is None:
            return None
        length, body = found
        if body - at > 2 and not buffer[body - 1] and self.level == LEVEL_5:  # MQTT 5, 1.5.5
            raise ProtocolError(f"{_NAMES[kind]}: its remaining length has more bytes than needed")
        end = body + length
        if end - self._start > self._max_packet:
            size = f"{_NAMES[kind]} of {end - self._start} bytes"
            reason = f"{size} is over the limit of {self._max_packet} bytes"
            raise ProtocolError(reason, code=Reason.PACKET_TOO_LARGE)
        if end > len(buffer):
            return None
        data = bytes(buffer[body:end])
        self._start = end
        usual = usual_publish(data, flags, self.level) if kind == _PUBLISH else None
        if usual is not None:
            return usual
        fields = Fields(_NAMES[kind], data)
        packet = self._packet(kind, flags, fields)
        fields.end()
        return packet

    def _packet(self, kind: int, flags: int, fields: Fields) -> Packet:
        if kind == _PUBLISH:
            return publish(fields, flags, self.level)
        if kind == _CONNECT:
            self.level = connect_level(fields)
            return connect(fields, self.level)
        return BODIES[kind][1](fields, self.level)

    def _check_first_byte(self, kind: int, flags: int) -> None:
        if kind in _QOS_2:
            reason = "quality of service 2 is not taken: publish with 1"
            raise ProtocolError(reason, code=Reason.QOS_NOT_SUPPORTED)
        if kind not in _NAMES or (kind == _AUTH and self.level != LEVEL_5):
            raise ProtocolError(f"packet type {kind} is reserved")
        if flags != _FLAGS.get(kind, 0):
            raise ProtocolError(f"{_NAMES[kind]} has reserved flags {flags:#x}")
