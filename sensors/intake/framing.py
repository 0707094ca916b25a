"""How MQTT writes how long a packet is: by its remaining length (3.1.1, 2.2.3; 5, 1.5.5 and 2.1.4)."""

from sensors.intake.breach import ProtocolError


def remaining_length(packet: str, buffer: bytes | bytearray, at: int) -> tuple[int, int] | None:
    """The length that is written from `at` on, and where what it counts begins; None while it is not whole.

    Seven bits a byte, the lowest first, at most four bytes (3.1.1, 2.2.3). `packet` is what has that length,
    for the ProtocolError where there are more bytes.
    """
    length = shift = 0
    while at < len(buffer):
        byte = buffer[at]
        at += 1
        length |= (byte & 0x7F) << shift
        if byte < 0x80:
            return length, at
        shift += 7
        if shift > 21:
            raise ProtocolError(f"{packet}: the remaining length has more than 4 bytes")
    return None
