"""What stands in each packet behind its header, field by field, for MQTT 3.1.1 and 5.

The numbers are the sections of MQTT 5, which in chapter 3 are those of 3.1.1 too where both know the field.
"""

from collections.abc import Callable

from sensors.intake.breach import ProtocolError
from sensors.intake.encoder import encode
from sensors.intake.fields import Fields
from sensors.intake.packets import (
    LEVEL,
    LEVEL_5,
    UNACCEPTABLE_CLIENT_ID,
    UNACCEPTABLE_LEVEL,
    Auth,
    Connack,
    Connect,
    Disconnect,
    Packet,
    Pingreq,
    Pingresp,
    Puback,
    Publish,
    Suback,
    Subscribe,
    Unsuback,
    Unsubscribe,
    Will,
)
from sensors.intake.properties import WILL, Properties, Property, read, value
from sensors.intake.reason_codes import CODES, Reason

REFUSED_LATER_LEVEL = b"\x20\x03\x00\x84\x00"
"""CONNACK in the form of MQTT 5 (3.2) to what comes after it: 0x84, unsupported version, no properties."""

SHARED = "$share/"
"""What the filter of a shared subscription begins with (4.8.2)."""


def connect_level(fields: Fields) -> int:
    """The protocol level a CONNECT asks for (3.1.2.1, 3.1.2.2). Raises ProtocolError where not spoken."""
    name, level = fields.block("protocol name"), fields.byte("protocol level")
    if name not in (b"MQTT", b"MQIsdp"):
        raise ProtocolError(f"CONNECT has protocol name {name[:20]!r}, not MQTT")
    if name == b"MQTT" and level in (LEVEL, LEVEL_5):
        return level
    if name == b"MQTT" and level > LEVEL_5:
        refusal = REFUSED_LATER_LEVEL
    else:
        refusal = encode(Connack(UNACCEPTABLE_LEVEL))
    reason = f"CONNECT asks for protocol level {level}; {LEVEL} and {LEVEL_5} are spoken"
    raise ProtocolError(reason, refusal, Reason.UNSUPPORTED_VERSION)


def connect(fields: Fields, level: int) -> Connect:
    """What follows the protocol level (3.1.2.3 on)."""
    flags = fields.byte("flags")
    has_will, will_qos, will_retain = flags & 0x04, flags >> 3 & 3, flags & 0x20
    if flags & 0x01:
        raise ProtocolError("CONNECT has its reserved flag set")
    if will_qos == 3 or (not has_will and (will_qos or will_retain)):
        raise ProtocolError(f"CONNECT has will flags that contradict each other: {flags:#04x}")
    if level == LEVEL and flags & 0x40 and not flags & 0x80:  # 5 lets a password stand alone (3.1.2.9)
        raise ProtocolError("CONNECT has a password and no user name")
    keep_alive_s = fields.short("keep-alive")
    properties = _properties(fields, "CONNECT", level)
    client_id = fields.text("client identifier")
    if level == LEVEL and not client_id and not flags & 0x02:
        refusal = encode(Connack(UNACCEPTABLE_CLIENT_ID))
        raise ProtocolError("CONNECT has no client identifier and wants its session kept", refusal)
    will = None
    if has_will:
        will_properties = _properties(fields, WILL, level)
        topic, payload = fields.topic("will topic"), fields.block("will message")
        will = Will(topic, payload, will_qos, bool(will_retain), will_properties)
    user_name = fields.text("user name") if flags & 0x80 else None
    password = fields.block("password") if flags & 0x40 else None
    return Connect(client_id, bool(flags & 0x02), keep_alive_s, user_name, password, will, level, properties)


def publish(fields: Fields, flags: int, level: int) -> Publish:
    """A message (3.3)."""
    qos = flags >> 1 & 3
    if qos == 3:
        raise ProtocolError("PUBLISH has quality of service 3")
    if flags & 0x08 and qos == 0:
        raise ProtocolError("PUBLISH is marked as sent again with quality of service 0")
    topic = fields.topic("topic", may_be_empty=level == LEVEL_5)
    packet_id = fields.packet_id() if qos else None
    properties: Properties = ()
    if level == LEVEL_5:
        properties = read(fields, "PUBLISH")
        if not topic and value(properties, Property.TOPIC_ALIAS) is None:  # 3.3.2.1
            reason = "PUBLISH: its topic is empty and it has no topic alias"
            raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)
    return Publish(topic, fields.rest(), qos, packet_id, bool(flags & 0x01), bool(flags & 0x08), properties)


def _connack(fields: Fields, level: int) -> Connack:
    flags, code = fields.byte("flags"), fields.byte("return code")
    known = code in CODES["CONNACK"] if level == LEVEL_5 else code <= 5
    if flags > 1 or not known or (code and flags):
        raise ProtocolError(f"CONNACK has flags {flags:#x} and return code {code}")
    return Connack(code, bool(flags), _properties(fields, "CONNACK", level))


def _puback(fields: Fields, level: int) -> Puback:
    return Puback(fields.packet_id(), *_ending(fields, "PUBACK", level))


def _subscribe(fields: Fields, level: int) -> Subscribe:
    packet_id = fields.packet_id()
    properties = _properties(fields, "SUBSCRIBE", level)
    filters: list[tuple[str, int]] = []
    while fields.left() or not filters:
        topic_filter, options = _filter(fields, level), fields.byte("quality of service")
        _check_options(topic_filter, options, level)
        filters.append((topic_filter, options))
    return Subscribe(packet_id, tuple(filters), properties)


def _check_options(topic_filter: str, options: int, level: int) -> None:
    if level == LEVEL and options > 2:
        raise ProtocolError(f"SUBSCRIBE asks for quality of service {options}")
    # 3.8.3.1: two bits of quality of service, no local, retain as published, two of retain handling, two
    # reserved.
    if options & 0xC0:
        raise ProtocolError(f"SUBSCRIBE has reserved bits in its options {options:#04x}")
    if options & 0x03 == 3 or options >> 4 & 3 == 3:
        reason = f"SUBSCRIBE has options {options:#04x}, a quality of service or retain handling of 3"
        raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)
    if options & 0x04 and topic_filter.startswith(SHARED):
        reason = "SUBSCRIBE asks a shared subscription for no local"
        raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)


def _suback(fields: Fields, level: int) -> Suback:
    packet_id, properties = fields.packet_id(), _properties(fields, "SUBACK", level)
    codes = fields.rest()
    known = CODES["SUBACK"] if level == LEVEL_5 else {0, 1, 2, 0x80}
    if not codes or any(code not in known for code in codes):
        raise ProtocolError(f"SUBACK has return codes {codes[:20]!r}")
    return Suback(packet_id, tuple(codes), properties)


def _unsubscribe(fields: Fields, level: int) -> Unsubscribe:
    packet_id, properties = fields.packet_id(), _properties(fields, "UNSUBSCRIBE", level)
    filters: list[str] = []
    while fields.left() or not filters:
        filters.append(_filter(fields, level))
    return Unsubscribe(packet_id, tuple(filters), properties)


def _unsuback(fields: Fields, level: int) -> Unsuback:
    packet_id = fields.packet_id()
    if level == LEVEL:
        return Unsuback(packet_id)
    properties, codes = read(fields, "UNSUBACK"), fields.rest()
    if not codes or any(code not in CODES["UNSUBACK"] for code in codes):
        raise ProtocolError(f"UNSUBACK has reason codes {codes[:20]!r}")
    return Unsuback(packet_id, tuple(codes), properties)


def _auth(fields: Fields, level: int) -> Auth:
    return Auth(*_ending(fields, "AUTH", level))


def _ending(fields: Fields, packet: str, level: int) -> tuple[int, Properties]:
    """A code and properties, either of which may be left out (3.4.2.1, 3.14.2.1, 3.15.2.1)."""
    if level == LEVEL or not fields.left():
        return 0, ()
    code = fields.byte("reason code")
    if code not in CODES[packet]:
        raise ProtocolError(f"{packet} has reason code {code:#04x}, which does not belong there")
    return code, read(fields, packet) if fields.left() else ()


def _properties(fields: Fields, packet: str, level: int) -> Properties:
    return read(fields, packet) if level == LEVEL_5 else ()


def _filter(fields: Fields, level: int) -> str:
    topic_filter = fields.text("topic filter")
    if not topic_filter:
        raise ProtocolError(f"{fields.packet} has an empty topic filter")
    if level == LEVEL_5:
        # 4.7.1: a wildcard fills a level, and # is the last.
        levels = topic_filter.split("/")
        if any(len(one) > 1 and ("+" in one or "#" in one) for one in levels) or "#" in levels[:-1]:
            raise ProtocolError(f"{fields.packet} has a topic filter with a misplaced wildcard")
    return topic_filter


BODIES: dict[int, tuple[str, Callable[[Fields, int], Packet]]] = {
    2: ("CONNACK", _connack),
    4: ("PUBACK", _puback),
    8: ("SUBSCRIBE", _subscribe),
    9: ("SUBACK", _suback),
    10: ("UNSUBSCRIBE", _unsubscribe),
    11: ("UNSUBACK", _unsuback),
    12: ("PINGREQ", lambda _fields, _level: Pingreq()),
    13: ("PINGRESP", lambda _fields, _level: Pingresp()),
    14: ("DISCONNECT", lambda fields, level: Disconnect(*_ending(fields, "DISCONNECT", level))),
    15: ("AUTH", _auth),
}
"""Name and body of each packet by its type, but CONNECT and PUBLISH, which need more than their level."""
