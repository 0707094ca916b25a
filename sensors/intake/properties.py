"""The properties of MQTT 5 (its 2.2.2): which there are, where each may stand, read strictly and written."""

from collections.abc import Callable
from enum import IntEnum
from typing import NamedTuple

from sensors.intake.breach import ProtocolError
from sensors.intake.data_types import block, long, short, text, variable
from sensors.intake.fields import Fields
from sensors.intake.reason_codes import Reason


class Property(IntEnum):
    """What a property is about, by its identifier (2.2.2.2)."""

    PAYLOAD_FORMAT_INDICATOR = 0x01
    MESSAGE_EXPIRY_INTERVAL = 0x02
    CONTENT_TYPE = 0x03
    RESPONSE_TOPIC = 0x08
    CORRELATION_DATA = 0x09
    SUBSCRIPTION_IDENTIFIER = 0x0B
    SESSION_EXPIRY_INTERVAL = 0x11
    ASSIGNED_CLIENT_IDENTIFIER = 0x12
    SERVER_KEEP_ALIVE = 0x13
    AUTHENTICATION_METHOD = 0x15
    AUTHENTICATION_DATA = 0x16
    REQUEST_PROBLEM_INFORMATION = 0x17
    WILL_DELAY_INTERVAL = 0x18
    REQUEST_RESPONSE_INFORMATION = 0x19
    RESPONSE_INFORMATION = 0x1A
    SERVER_REFERENCE = 0x1C
    REASON_STRING = 0x1F
    RECEIVE_MAXIMUM = 0x21
    TOPIC_ALIAS_MAXIMUM = 0x22
    TOPIC_ALIAS = 0x23
    MAXIMUM_QOS = 0x24
    RETAIN_AVAILABLE = 0x25
    USER_PROPERTY = 0x26
    MAXIMUM_PACKET_SIZE = 0x27
    WILDCARD_SUBSCRIPTION_AVAILABLE = 0x28
    SUBSCRIPTION_IDENTIFIER_AVAILABLE = 0x29
    SHARED_SUBSCRIPTION_AVAILABLE = 0x2A

    @property
    def words(self) -> str:
        """Its name as it is said."""
        return self.name.lower().replace("_", " ")


Value = int | str | bytes | tuple[str, str]
Properties = tuple[tuple[Property, Value], ...]
"""Properties in the order they were written; an identifier may stand twice where the standard lets it."""

WILL = "WILL"
"""The name that a will's properties go by, which stand in CONNECT beside its own (3.1.3.2)."""


class _Kind(NamedTuple):
    read: Callable[[Fields, str], Value]
    write: Callable[..., bytes]


def _one(number: int) -> bytes:
    return number.to_bytes(1, "big")


def _pair(pair: tuple[str, str]) -> bytes:
    return text(pair[0]) + text(pair[1])


_BYTE = _Kind(Fields.byte, _one)
_SHORT = _Kind(Fields.short, short)
_LONG = _Kind(Fields.long, long)
_VARIABLE = _Kind(Fields.variable, variable)
_TEXT = _Kind(Fields.text, text)
_BLOCK = _Kind(Fields.block, block)
_PAIR = _Kind(lambda fields, what: (fields.text(what), fields.text(what)), _pair)

_ACKNOWLEDGING = ("CONNACK", "PUBACK", "SUBACK", "UNSUBACK", "DISCONNECT", "AUTH")
_AUTHENTICATING = ("CONNECT", "CONNACK", "AUTH")
_EVERYWHERE = ("CONNECT", WILL, "PUBLISH", "SUBSCRIBE", "UNSUBSCRIBE", *_ACKNOWLEDGING)

RULES: dict[Property, tuple[_Kind, frozenset[str]]] = {
    one: (kind, frozenset(packets))
    for one, kind, packets in (
        (Property.PAYLOAD_FORMAT_INDICATOR, _BYTE, ("PUBLISH", WILL)),
        (Property.MESSAGE_EXPIRY_INTERVAL, _LONG, ("PUBLISH", WILL)),
        (Property.CONTENT_TYPE, _TEXT, ("PUBLISH", WILL)),
        (Property.RESPONSE_TOPIC, _TEXT, ("PUBLISH", WILL)),
        (Property.CORRELATION_DATA, _BLOCK, ("PUBLISH", WILL)),
        (Property.SUBSCRIPTION_IDENTIFIER, _VARIABLE, ("PUBLISH", "SUBSCRIBE")),
        (Property.SESSION_EXPIRY_INTERVAL, _LONG, ("CONNECT", "CONNACK", "DISCONNECT")),
        (Property.ASSIGNED_CLIENT_IDENTIFIER, _TEXT, ("CONNACK",)),
        (Property.SERVER_KEEP_ALIVE, _SHORT, ("CONNACK",)),
        (Property.AUTHENTICATION_METHOD, _TEXT, _AUTHENTICATING),
        (Property.AUTHENTICATION_DATA, _BLOCK, _AUTHENTICATING),
        (Property.REQUEST_PROBLEM_INFORMATION, _BYTE, ("CONNECT",)),
        (Property.WILL_DELAY_INTERVAL, _LONG, (WILL,)),
        (Property.REQUEST_RESPONSE_INFORMATION, _BYTE, ("CONNECT",)),
        (Property.RESPONSE_INFORMATION, _TEXT, ("CONNACK",)),
        (Property.SERVER_REFERENCE, _TEXT, ("CONNACK", "DISCONNECT")),
        (Property.REASON_STRING, _TEXT, _ACKNOWLEDGING),
        (Property.RECEIVE_MAXIMUM, _SHORT, ("CONNECT", "CONNACK")),
        (Property.TOPIC_ALIAS_MAXIMUM, _SHORT, ("CONNECT", "CONNACK")),
        (Property.TOPIC_ALIAS, _SHORT, ("PUBLISH",)),
        (Property.MAXIMUM_QOS, _BYTE, ("CONNACK",)),
        (Property.RETAIN_AVAILABLE, _BYTE, ("CONNACK",)),
        (Property.USER_PROPERTY, _PAIR, _EVERYWHERE),
        (Property.MAXIMUM_PACKET_SIZE, _LONG, ("CONNECT", "CONNACK")),
        (Property.WILDCARD_SUBSCRIPTION_AVAILABLE, _BYTE, ("CONNACK",)),
        (Property.SUBSCRIPTION_IDENTIFIER_AVAILABLE, _BYTE, ("CONNACK",)),
        (Property.SHARED_SUBSCRIPTION_AVAILABLE, _BYTE, ("CONNACK",)),
    )
}
"""How each is written and in which packets it may stand (table 2-4)."""

NOT_ZERO = frozenset(
    # 3.1.2.11.3, 3.1.2.11.4, 3.8.2.1.2
    (Property.RECEIVE_MAXIMUM, Property.MAXIMUM_PACKET_SIZE, Property.SUBSCRIPTION_IDENTIFIER)
)


def value(properties: Properties, wanted: Property) -> Value | None:
    """The value of a property; None where it is not there."""
    for one, said in properties:
        if one is wanted:
            return said
    return None


def number(properties: Properties, wanted: Property, absent: int) -> int:
    """The value of a property that is a number, and what goes for it where it is not there."""
    said = value(properties, wanted)
    return said if isinstance(said, int) else absent


def read(fields: Fields, packet: str) -> Properties:
    """Read a block of properties; `packet` is whose they are, `WILL` for a will's.

    Raises ProtocolError: malformed (0x81) for an identifier that is unknown or does not belong in this packet
    (2.2.2.2), protocol error (0x82) for one that stands twice or has a value that is not allowed.
    """
    length = fields.variable("property length")
    if not length:
        return ()
    inner = Fields(f"{packet} properties", fields.take(length, "properties"))
    found: list[tuple[Property, Value]] = []
    seen: set[Property] = set()
    while inner.left():
        identifier = inner.variable("identifier")
        try:
            one = Property(identifier)
        except ValueError:
            raise ProtocolError(f"{packet} has a property {identifier:#04x}, which there is not") from None
        kind, packets = RULES[one]
        if packet not in packets:
            raise ProtocolError(f"{packet} has a {one.words}, which does not belong there")
        # 2.2.2.2 and each property's own section; a server may name several subscriptions (3.3.2.3.8).
        twice_is_fine = one is Property.USER_PROPERTY or (
            one is Property.SUBSCRIPTION_IDENTIFIER and packet == "PUBLISH"
        )
        if one in seen and not twice_is_fine:
            raise _not_allowed(f"{packet} has two of {one.words}")
        seen.add(one)
        said = kind.read(inner, one.words)
        _check(packet, one, said)
        found.append((one, said))
    if Property.AUTHENTICATION_DATA in seen and Property.AUTHENTICATION_METHOD not in seen:
        raise _not_allowed(f"{packet} has authentication data and no authentication method")  # 3.1.2.11.10
    return tuple(found)


def write(properties: Properties, packet: str) -> bytes:
    """Write a block of properties. Raises ValueError or OverflowError for what it cannot carry."""
    written = bytearray()
    for one, said in properties:
        kind, packets = RULES[one]
        if packet not in packets:
            raise ValueError(f"{packet} has no {one.words}")
        written += variable(one) + kind.write(said)
    return variable(len(written)) + bytes(written)


def _check(packet: str, one: Property, said: Value) -> None:
    if one in NOT_ZERO and said == 0:
        raise _not_allowed(f"{packet} has {one.words} 0")
    if RULES[one][0] is _BYTE and said not in (
        0,
        1,
    ):  # every byte of them is a yes or no (or a quality of service)
        raise _not_allowed(f"{packet} has {one.words} {said!r}; it must be 0 or 1")
    if one is Property.TOPIC_ALIAS and said == 0:
        raise ProtocolError(f"{packet} has topic alias 0", code=Reason.BAD_TOPIC_ALIAS)  # 3.3.2.3.4
    if one is Property.RESPONSE_TOPIC and isinstance(said, str) and (not said or "+" in said or "#" in said):
        raise _not_allowed(f"{packet}: its response topic is empty or has a wildcard")  # 3.3.2.3.5, 4.7.3


def _not_allowed(reason: str) -> ProtocolError:
    return ProtocolError(reason, code=Reason.PROTOCOL_ERROR)
