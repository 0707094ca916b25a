"""Packets as bytes, of MQTT 3.1.1 and of MQTT 5."""

from sensors.intake.data_types import block, short, text, variable
from sensors.intake.packets import (
    LEVEL,
    LEVEL_5,
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
)
from sensors.intake.properties import WILL, Properties, write


def encode(packet: Packet, level: int = LEVEL) -> bytes:
    """Write a packet at a protocol level; a CONNECT at its own.

    Raises ValueError or OverflowError for what no packet of that level can carry.

    >>> encode(Puback(258)).hex(" ")
    '40 02 01 02'
    >>> encode(Puback(258, 0x87), level=5).hex(" ")
    '40 03 01 02 87'
    """
    match packet:
        case Connect():
            return _frame(0x10, _connect_body(packet))
        case Connack(code, session_present, properties):
            return _frame(0x20, bytes((session_present, code)) + _block(properties, "CONNACK", level))
        case Publish():
            first = 0x30 | packet.dup << 3 | packet.qos << 1 | packet.retain
            head = text(packet.topic) + _packet_id(packet) + _block(packet.properties, "PUBLISH", level)
            return _frame(first, head + packet.payload)
        case Puback(packet_id, code, properties):
            return _frame(0x40, short(packet_id) + _ending(code, properties, "PUBACK", level))
        case Subscribe(packet_id, filters, properties):
            wanted = b"".join(text(topic_filter) + bytes((options,)) for topic_filter, options in filters)
            return _frame(0x82, short(packet_id) + _block(properties, "SUBSCRIBE", level) + wanted)
        case Suback(packet_id, codes, properties):
            return _frame(0x90, short(packet_id) + _block(properties, "SUBACK", level) + bytes(codes))
        case Unsubscribe(packet_id, names, properties):
            unwanted = b"".join(map(text, names))
            return _frame(0xA2, short(packet_id) + _block(properties, "UNSUBSCRIBE", level) + unwanted)
        case Unsuback(packet_id, codes, properties):
            if codes and level != LEVEL_5:
                raise ValueError("an UNSUBACK of MQTT 3.1.1 has no codes")
            return _frame(0xB0, short(packet_id) + _block(properties, "UNSUBACK", level) + bytes(codes))
        case Pingreq():
            return b"\xc0\x00"
        case Pingresp():
            return b"\xd0\x00"
        case Disconnect(code, properties):
            return _frame(0xE0, _ending(code, properties, "DISCONNECT", level))
        case Auth(code, properties):
            if level != LEVEL_5:
                raise ValueError("MQTT 3.1.1 has no AUTH")
            return _frame(0xF0, _ending(code, properties, "AUTH", level))


def puback(packet_id: int) -> bytes:
    """That a message was taken, of either version; the same as `encode` gives, in a fraction of the time.

    >>> puback(258) == encode(Puback(258)) == encode(Puback(258), level=5)
    True
    """
    return b"\x40\x02" + short(packet_id)


def _connect_body(packet: Connect) -> bytes:
    level, will = packet.level, packet.will
    if level not in (LEVEL, LEVEL_5):
        raise ValueError(f"a CONNECT of level {level} is not known; {LEVEL} and {LEVEL_5} are")
    flags = packet.clean_session << 1
    body = short(packet.keep_alive_s) + _block(packet.properties, "CONNECT", level) + text(packet.client_id)
    if will is not None:
        flags |= 0x04 | will.qos << 3 | will.retain << 5
        body += _block(will.properties, WILL, level) + text(will.topic) + block(will.payload)
    if packet.user_name is not None:
        flags |= 0x80
        body += text(packet.user_name)
    if packet.password is not None:
        flags |= 0x40
        body += block(packet.password)
    return text("MQTT") + bytes((level, flags)) + body


def _block(properties: Properties, packet: str, level: int) -> bytes:
    """The block of properties, which 3.1.1 does not have."""
    if level == LEVEL_5:
        return write(properties, packet)
    if properties:
        raise ValueError(f"a {packet} of MQTT 3.1.1 has no properties")
    return b""


def _ending(code: int, properties: Properties, packet: str, level: int) -> bytes:
    """Code and properties, left out where they say nothing (MQTT 5, 3.4.2.1, 3.14.2.1, 3.15.2.1)."""
    if level != LEVEL_5:
        if code or properties:
            raise ValueError(f"a {packet} of MQTT 3.1.1 has no code and no properties")
        return b""
    if properties:
        return bytes((code,)) + write(properties, packet)
    return bytes((code,)) if code else b""


def _packet_id(packet: Publish) -> bytes:
    if (packet.packet_id is None) != (packet.qos == 0):
        raise ValueError(f"quality of service {packet.qos} with packet identifier {packet.packet_id}")
    return b"" if packet.packet_id is None else short(packet.packet_id)


def _frame(first: int, body: bytes) -> bytes:
    return bytes((first,)) + variable(len(body)) + body
