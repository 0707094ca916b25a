"""Reads the fields of one packet, strictly. The numbers are MQTT 5's sections, 3.1.1's where it says so."""

from sensors.intake.breach import ProtocolError
from sensors.intake.reason_codes import Reason


class Fields:
    """The fields of one packet, taken in their order.

    `packet` is its name, `what` in each call the field's. Raises ProtocolError for what is not whole or not
    allowed.
    """

    def __init__(self, packet: str, data: bytes) -> None:
        self.packet = packet
        self._data = data
        self._at = 0

    def take(self, count: int, what: str) -> bytes:
        """So many bytes."""
        end = self._at + count
        if end > len(self._data):
            raise ProtocolError(f"{self.packet} ends within its {what}")
        taken = self._data[self._at : end]
        self._at = end
        return taken

    def byte(self, what: str) -> int:
        """One byte."""
        return self.take(1, what)[0]

    def short(self, what: str) -> int:
        """A two byte integer."""
        return int.from_bytes(self.take(2, what), "big")

    def long(self, what: str) -> int:
        """A four byte integer."""
        return int.from_bytes(self.take(4, what), "big")

    def variable(self, what: str) -> int:
        """A variable byte integer of at most four bytes, and no more of them than it needs (1.5.5)."""
        number = 0
        for shift in (0, 7, 14, 21):
            byte = self.byte(what)
            number |= (byte & 0x7F) << shift
            if byte < 0x80:
                if shift and not byte:
                    raise ProtocolError(f"{self.packet}: its {what} is written with more bytes than needed")
                return number
        raise ProtocolError(f"{self.packet}: its {what} has more than 4 bytes")

    def packet_id(self) -> int:
        """A packet identifier, which is never 0 (2.2.1; 3.1.1, 2.3.1)."""
        packet_id = self.short("packet identifier")
        if packet_id == 0:
            raise ProtocolError(f"{self.packet} has packet identifier 0", code=Reason.PROTOCOL_ERROR)
        return packet_id

    def block(self, what: str) -> bytes:
        """Binary data behind its length."""
        return self.take(self.short(what), what)

    def text(self, what: str) -> str:
        """UTF-8 without half characters and without U+0000 (1.5.4; 3.1.1, 1.5.3)."""
        try:
            text = self.block(what).decode("utf-8")
        except UnicodeDecodeError:
            raise ProtocolError(f"{self.packet}: its {what} is not UTF-8") from None
        if "\0" in text:
            raise ProtocolError(f"{self.packet}: its {what} has a U+0000")
        return text

    def topic(self, what: str, may_be_empty: bool = False) -> str:
        """A topic to publish to: not empty, no wildcards (4.7.1, 4.7.3)."""
        topic = self.text(what)
        if (not topic and not may_be_empty) or "+" in topic or "#" in topic:
            raise ProtocolError(f"{self.packet}: its {what} is empty or has a wildcard")
        return topic

    def rest(self) -> bytes:
        """All that is left."""
        return self.take(len(self._data) - self._at, "payload")

    def left(self) -> bool:
        """Whether anything is left."""
        return self._at < len(self._data)

    def end(self) -> None:
        """Nothing may be left."""
        if self.left():
            raise ProtocolError(f"{self.packet} has {len(self._data) - self._at} bytes too many")
