"""MQTT 3.1.1 packets as bytes."""

from sensors.intake.packets import (
    LEVEL,
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


def encode(packet: Packet) -> bytes:
    """Write a packet of MQTT 3.1.1. Raises ValueError or OverflowError for what no packet can carry.

    >>> encode(Puback(258)).hex(" ")
    '40 02 01 02'
    """
    match packet:
        case Connect():
            return _frame(0x10, _connect_body(packet))
        case Connack():
            return _frame(0x20, bytes((packet.session_present, packet.code)))
        case Publish():
            first = 0x30 | packet.dup << 3 | packet.qos << 1 | packet.retain
            return _frame(first, _text(packet.topic) + _packet_id(packet) + packet.payload)
        case Puback():
            return _frame(0x40, _short(packet.packet_id))
        case Subscribe():
            wanted = b"".join(_text(topic_filter) + bytes((qos,)) for topic_filter, qos in packet.filters)
            return _frame(0x82, _short(packet.packet_id) + wanted)
        case Suback():
            return _frame(0x90, _short(packet.packet_id) + bytes(packet.codes))
        case Unsubscribe():
            return _frame(0xA2, _short(packet.packet_id) + b"".join(map(_text, packet.filters)))
        case Unsuback():
            return _frame(0xB0, _short(packet.packet_id))
        case Pingreq():
            return b"\xc0\x00"
        case Pingresp():
            return b"\xd0\x00"
        case Disconnect():
            return b"\xe0\x00"


def _connect_body(packet: Connect) -> bytes:
    flags = packet.clean_session << 1
    body = _short(packet.keep_alive_s) + _text(packet.client_id)
    if packet.will is not None:
        flags |= 0x04 | packet.will.qos << 3 | packet.will.retain << 5
        body += _text(packet.will.topic) + _block(packet.will.payload)
    if packet.user_name is not None:
        flags |= 0x80
        body += _text(packet.user_name)
    if packet.password is not None:
        flags |= 0x40
        body += _block(packet.password)
    return _text("MQTT") + bytes((LEVEL, flags)) + body


def _packet_id(packet: Publish) -> bytes:
    if (packet.packet_id is None) != (packet.qos == 0):
        raise ValueError(f"quality of service {packet.qos} with packet identifier {packet.packet_id}")
    return b"" if packet.packet_id is None else _short(packet.packet_id)


def _short(number: int) -> bytes:
    return number.to_bytes(2, "big")


def _block(data: bytes) -> bytes:
    return _short(len(data)) + data


def _text(text: str) -> bytes:
    return _block(text.encode("utf-8"))


def _frame(first: int, body: bytes) -> bytes:
    length, head = len(body), bytearray((first,))
    if length >= 1 << 28:
        raise ValueError(f"a packet of {length} bytes is over what MQTT can carry")
    while True:
        head.append(length & 0x7F | (0x80 if length > 0x7F else 0))
        length >>= 7
        if not length:
            return bytes(head) + body
