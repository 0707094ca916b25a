"""MQTT 3.1.1 packets, as much as a node needs: CONNECT, PUBLISH with quality 1, PUBACK, DISCONNECT. Pure.

Section numbers are those of the OASIS standard MQTT 3.1.1.
"""

import struct

CONNACK, PUBACK = 0x20, 0x40
DISCONNECT = b"\xe0\x00"
REFUSALS = {
    1: "the broker speaks another MQTT",
    2: "the broker refuses the client's name",
    3: "the broker is not available",
    4: "the user or the password is wrong",
    5: "the broker does not let this user in",
}
LONGEST = 268435455


class MqttError(Exception):
    """The other end said something that cannot be, or no."""


def length(count):
    """The remaining length (2.2.3).

    >>> length(321)
    b'\\xc1\\x02'
    """
    if not 0 <= count <= LONGEST:
        raise MqttError("a packet of %d bytes is too long" % count)
    said = bytearray()
    while True:
        count, digit = count >> 7, count & 0x7F
        said.append(digit | 0x80 if count else digit)
        if not count:
            return bytes(said)


def text(words):
    """A text with its length before it (1.5.3)."""
    data = words if isinstance(words, bytes) else words.encode()
    return struct.pack(">H", len(data)) + data


def connect(client, keep_alive, user=None, password=None, will=None):
    """CONNECT (3.1) with a clean session; `will` is (topic, payload), retained, with quality 1."""
    flags = 0x02
    payload = text(client)
    if will is not None:
        flags |= 0x2C
        payload += text(will[0]) + text(will[1])
    if user is not None:
        flags |= 0x80
        payload += text(user)
        if password is not None:
            flags |= 0x40
            payload += text(password)
    body = text("MQTT") + bytes((4, flags)) + struct.pack(">H", keep_alive) + payload
    return b"\x10" + length(len(body)) + body


def publish(topic, payload, packet_id, retain=False):
    """PUBLISH (3.3) with quality 1."""
    body = text(topic) + struct.pack(">H", packet_id) + payload
    return bytes((0x33 if retain else 0x32,)) + length(len(body)) + body


def read(receive):
    """The next packet: its kind, and its body. `receive(n)` gives exactly so many bytes or raises."""
    kind = receive(1)[0]
    count = shift = 0
    while True:
        digit = receive(1)[0]
        count |= (digit & 0x7F) << shift
        shift += 7
        if not digit & 0x80:
            break
        if shift > 21:
            raise MqttError("the length of a packet has no end")
    return kind & 0xF0, receive(count) if count else b""


def check_connack(kind, body):
    """Raise MqttError unless that is a CONNACK that lets us in (3.2)."""
    if kind != CONNACK or len(body) != 2:
        raise MqttError("what answers there is no MQTT broker")
    if body[1]:
        raise MqttError(REFUSALS.get(body[1], "the broker refuses with code %d" % body[1]))


def acknowledged(kind, body):
    """The packet id of a PUBACK (3.4); raises MqttError for anything else."""
    if kind != PUBACK or len(body) < 2:
        raise MqttError("the broker said a packet of kind 0x%02x where a PUBACK was due" % kind)
    return struct.unpack(">H", body[:2])[0]
