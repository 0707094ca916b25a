"""How MQTT writes its data types (MQTT 5, 1.5; all but the last are those of 3.1.1 too)."""

MAX_VARIABLE = (1 << 28) - 1
"""The largest variable byte integer: four bytes of seven bits (1.5.5)."""


def short(number: int) -> bytes:
    """A two byte integer. Raises OverflowError outside 0 to 65535."""
    return number.to_bytes(2, "big")


def long(number: int) -> bytes:
    """A four byte integer. Raises OverflowError outside 0 to 4294967295."""
    return number.to_bytes(4, "big")


def block(data: bytes) -> bytes:
    """Binary data behind its length. Raises OverflowError over 65535 bytes."""
    return short(len(data)) + data


def text(words: str) -> bytes:
    """A UTF-8 string behind its length. Raises OverflowError over 65535 bytes, ValueError for no UTF-8."""
    return block(words.encode("utf-8"))


def variable(number: int) -> bytes:
    """A variable byte integer: seven bits a byte, the lowest first. Raises ValueError over `MAX_VARIABLE`.

    >>> [variable(number).hex() for number in (0, 127, 128, 2097152)]
    ['00', '7f', '8001', '80808001']
    """
    if not 0 <= number <= MAX_VARIABLE:
        raise ValueError(f"{number} is over what a variable byte integer of MQTT can carry, {MAX_VARIABLE}")
    written = bytearray()
    while True:
        written.append(number & 0x7F | (0x80 if number > 0x7F else 0))
        number >>= 7
        if not number:
            return bytes(written)
