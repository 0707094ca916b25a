"""The MQTT codec: bytes of the standard, round trips cut anywhere, every breach, and any bytes at all."""

import tracemalloc

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sensors.intake.bodies import REFUSED_LATER_LEVEL
from sensors.intake.breach import ProtocolError
from sensors.intake.decoder import MAX_PACKET, Decoder
from sensors.intake.encoder import encode
from sensors.intake.packets import (
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


def decode(data: bytes) -> list[Packet]:
    decoder = Decoder()
    decoder.feed(data)
    packets: list[Packet] = []
    while (packet := decoder.next_packet()) is not None:
        packets.append(packet)
    return packets


def breach(data: bytes) -> ProtocolError:
    with pytest.raises(ProtocolError) as error:
        decode(data)
    return error.value


# Texts as MQTT allows them: UTF-8 without half characters and U+0000 (MQTT 3.1.1, 1.5.3).
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30)
TOPICS = TEXTS.filter(lambda text: text != "" and "+" not in text and "#" not in text)
FILTERS = TEXTS.filter(bool)
IDS = st.integers(1, 0xFFFF)
PAYLOADS = st.binary(max_size=300)
WILLS = st.builds(Will, TOPICS, PAYLOADS, st.integers(0, 2), st.booleans())
LOGINS = st.one_of(
    st.just((None, None)), st.tuples(TEXTS, st.none()), st.tuples(TEXTS, st.binary(max_size=30))
)


@st.composite
def connects(draw: st.DrawFn) -> Connect:
    clean = draw(st.booleans())
    client_id = draw(TEXTS if clean else TEXTS.filter(bool))
    user_name, password = draw(LOGINS)
    will = draw(st.none() | WILLS)
    return Connect(client_id, clean, draw(st.integers(0, 0xFFFF)), user_name, password, will)


@st.composite
def publishes(draw: st.DrawFn) -> Publish:
    qos = draw(st.integers(0, 2))
    packet_id = draw(IDS) if qos else None
    dup = draw(st.booleans()) if qos else False
    return Publish(draw(TOPICS), draw(PAYLOADS), qos, packet_id, draw(st.booleans()), dup)


PACKETS: st.SearchStrategy[Packet] = st.one_of(
    connects(),
    st.builds(Connack, st.integers(1, 5)),
    st.builds(Connack, st.just(0), st.booleans()),
    publishes(),
    st.builds(Puback, IDS),
    st.builds(
        Subscribe, IDS, st.lists(st.tuples(FILTERS, st.integers(0, 2)), min_size=1, max_size=4).map(tuple)
    ),
    st.builds(Suback, IDS, st.lists(st.sampled_from([0, 1, 2, 0x80]), min_size=1, max_size=4).map(tuple)),
    st.builds(Unsubscribe, IDS, st.lists(FILTERS, min_size=1, max_size=4).map(tuple)),
    st.builds(Unsuback, IDS),
    st.just(Pingreq()),
    st.just(Pingresp()),
    st.just(Disconnect()),
)


# -- the bytes of the standard


def test_the_connect_of_the_standard() -> None:
    # MQTT 3.1.1, figure 3.6 (header: name, level 4, flags 0xCE, keep-alive 10) with a payload made to fit
    data = bytes.fromhex("101d 0004 4d515454 04 ce 000a 0001 61 0001 77 0002 6f6b 0002 6d65 0003 707764")
    expected = Connect("a", True, 10, "me", b"pwd", Will("w", b"ok", 1, False))
    assert decode(data) == [expected]
    assert encode(expected) == data


def test_the_publish_of_the_standard() -> None:
    # MQTT 3.1.1, figures 3.10 and 3.11: topic a/b, packet identifier 10, quality of service 1
    data = bytes.fromhex("32 07 0003 612f62 000a")
    assert decode(data) == [Publish("a/b", b"", 1, 10)]
    assert encode(Publish("a/b", b"", 1, 10)) == data


@pytest.mark.parametrize(
    ("length", "encoded"), [(127, "7f"), (128, "8001"), (16_383, "ff7f"), (16_384, "808001")]
)
def test_the_remaining_length_of_the_standard(length: int, encoded: str) -> None:
    # MQTT 3.1.1, table 2.4: the ends of the ranges of one, two and three bytes
    packet = Publish("t", b"x" * (length - 3))
    assert encode(packet)[1 : 1 + len(encoded) // 2].hex() == encoded
    assert decode(encode(packet)) == [packet]


@pytest.mark.parametrize(
    ("packet", "data"),
    [
        (Connack(0), "20 02 00 00"),
        (Connack(5), "20 02 00 05"),
        (Puback(10), "40 02 00 0a"),
        (Subscribe(10, (("a/b", 1), ("c/d", 2))), "82 0e 000a 0003 612f62 01 0003 632f64 02"),  # figure 3.23
        (Suback(10, (0, 2, 0x80)), "90 05 000a 00 02 80"),  # figure 3.27
        (Unsubscribe(10, ("a/b", "c/d")), "a2 0c 000a 0003 612f62 0003 632f64"),  # figure 3.30
        (Unsuback(10), "b0 02 00 0a"),
        (Pingreq(), "c0 00"),
        (Pingresp(), "d0 00"),
        (Disconnect(), "e0 00"),
    ],
)
def test_the_other_packets_of_the_standard(packet: Packet, data: str) -> None:
    # MQTT 3.1.1, chapter 3; the figures named were written down from memory
    assert encode(packet) == bytes.fromhex(data)
    assert decode(bytes.fromhex(data)) == [packet]


# -- laws


@given(st.lists(PACKETS, min_size=1, max_size=5), st.data())
def test_what_is_written_reads_the_same_wherever_it_is_cut(
    packets: list[Packet], data: st.DataObject
) -> None:
    stream = b"".join(map(encode, packets))
    decoder, found, at = Decoder(), list[Packet](), 0
    while at < len(stream):
        step = data.draw(st.integers(1, len(stream)))
        decoder.feed(stream[at : at + step])
        at += step
        while (packet := decoder.next_packet()) is not None:
            found.append(packet)
    assert found == packets


@given(PACKETS)
def test_nothing_comes_before_the_last_byte(packet: Packet) -> None:
    stream = encode(packet)
    decoder = Decoder()
    for byte in stream[:-1]:
        decoder.feed(bytes((byte,)))
        assert decoder.next_packet() is None
    decoder.feed(stream[-1:])
    assert decoder.next_packet() == packet
    assert decoder.next_packet() is None


@given(st.binary(max_size=200))
@example(b"\x10\x80\x80\x80\x80\x01")
@example(b"\x30\x02\x00\x05")
def test_no_bytes_raise_anything_but_a_protocol_error(data: bytes) -> None:
    try:
        packets = decode(data)
    except ProtocolError as error:
        assert error.reason  # noqa: PT017 - both outcomes are right
        return
    # What was taken is what its own writing gives: nothing is read loosely.
    for packet in packets:
        assert decode(encode(packet)) == [packet]


@given(PACKETS, st.data())
def test_a_damaged_packet_raises_nothing_but_a_protocol_error(packet: Packet, data: st.DataObject) -> None:
    stream = bytearray(encode(packet))
    stream[data.draw(st.integers(0, len(stream) - 1))] = data.draw(st.integers(0, 255))
    try:
        decode(bytes(stream))
    except ProtocolError as error:
        assert error.reason  # noqa: PT017 - both outcomes are right


# -- breaches

CONNECT = "00044d515454 04"


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        ("00 00", "packet type 0 is reserved"),
        ("f0 00", "packet type 15 is reserved"),
        ("62 02 0001", "quality of service 2 is not taken"),
        ("c1 00", "PINGREQ has reserved flags 0x1"),
        ("80 02 0001", "SUBSCRIBE has reserved flags 0x0"),
        ("e1 00", "DISCONNECT has reserved flags 0x1"),
        ("30 80808080 01", "remaining length has more than 4 bytes"),
        ("c0 01 00", "PINGREQ has 1 bytes too many"),
        ("40 03 0001 00", "PUBACK has 1 bytes too many"),
        ("40 01 00", "PUBACK ends within its packet identifier"),
        ("40 02 0000", "PUBACK has packet identifier 0"),
        ("36 05 0001 61 0001", "PUBLISH has quality of service 3"),
        ("38 03 0001 61", "sent again with quality of service 0"),
        ("32 05 0001 61 0000", "PUBLISH has packet identifier 0"),
        ("30 02 0000", "its topic is empty or has a wildcard"),
        ("30 03 0001 23", "its topic is empty or has a wildcard"),
        ("30 03 0001 2b", "its topic is empty or has a wildcard"),
        ("30 03 0001 00", "its topic has a U+0000"),
        ("30 05 0003 eda080", "its topic is not UTF-8"),
        ("30 03 0002 61", "PUBLISH ends within its topic"),
        ("82 02 0001", "SUBSCRIBE ends within its topic filter"),
        ("82 06 0001 0001 61 03", "SUBSCRIBE asks for quality of service 3"),
        ("82 05 0001 0000 00", "SUBSCRIBE has an empty topic filter"),
        ("a2 02 0001", "UNSUBSCRIBE ends within its topic filter"),
        ("90 03 0001 03", "SUBACK has return codes"),
        ("20 02 02 00", "CONNACK has flags 0x2"),
        ("20 02 01 05", "CONNACK has flags 0x1 and return code 5"),
        (f"10 0c {CONNECT} 03 0000 0000", "its reserved flag set"),
        (f"10 0c {CONNECT} 0a 0000 0000", "will flags that contradict each other"),
        (f"10 0c {CONNECT} 22 0000 0000", "will flags that contradict each other"),
        (f"10 0f {CONNECT} 1e 0000 0000 0001 77", "will flags that contradict each other"),
        (f"10 0c {CONNECT} 42 0000 0000", "a password and no user name"),
        (f"10 0c {CONNECT} 82 0000 0000", "CONNECT ends within its user name"),
        (f"10 0d {CONNECT} 02 0000 0000 00", "CONNECT has 1 bytes too many"),
        (f"10 10 {CONNECT} 06 0000 0000 0000 0000", "its will topic is empty or has a wildcard"),
        ("10 0c 00044d515458 04 02 0000 0000", "protocol name b'MQTX', not MQTT"),
    ],
)
def test_a_breach_is_told(data: str, reason: str) -> None:
    # MQTT 3.1.1: 2.2.2, 2.2.3, 2.3.1, 3.1.2, 3.3.1, 3.3.2, 3.8.3, 3.10.3, 4.7
    error = breach(bytes.fromhex(data))
    assert reason in error.reason
    assert not error.reply
    assert not error.too_large


@pytest.mark.parametrize(
    ("data", "reply"),
    [
        # MQTT 3.1.1, 3.1.2.2: an unacceptable level is answered with CONNACK 0x01
        ("10 0c 00044d515454 03 02 003c 0000", "20 02 00 01"),
        ("10 0c 00044d515454 02 02 003c 0000", "20 02 00 01"),
        ("10 0e 00064d5149736470 03 02 003c 0000", "20 02 00 01"),
        # MQTT 5, 3.1.2.2: reason 0x84 in a CONNACK of that form
        ("10 0d 00044d515454 06 02 003c 00 0000", REFUSED_LATER_LEVEL.hex()),
        # MQTT 3.1.1, 3.1.3.1: no client identifier with a session to keep is answered with CONNACK 0x02
        ("10 0c 00044d515454 04 00 003c 0000", "20 02 00 02"),
    ],
)
def test_a_connect_that_cannot_be_served_is_answered(data: str, reply: str) -> None:
    assert breach(bytes.fromhex(data)).reply == bytes.fromhex(reply)


def test_other_levels_are_not_decoded() -> None:
    with pytest.raises(ValueError, match="level 6 is not spoken"):
        Decoder(level=6)


def test_a_packet_at_the_limit_is_taken_and_one_byte_more_is_refused_by_its_header() -> None:
    whole = encode(Publish("t", b"x" * (MAX_PACKET - 1 - 3 - 3)))
    assert len(whole) == MAX_PACKET
    assert len(decode(whole)) == 1
    over = encode(Publish("t", b"x" * (MAX_PACKET - 3 - 3)))
    error = breach(over[:4])
    assert error.too_large
    assert error.reason == "PUBLISH of 65537 bytes is over the limit of 65536 bytes"


def test_ten_megabytes_are_refused_before_they_are_kept() -> None:
    stream = encode(Publish("slowcorner/shop/n1/senml", b" " * 10_000_000))
    decoder = Decoder()
    decoder.feed(stream[:5])
    with pytest.raises(ProtocolError, match="PUBLISH of 10000031 bytes is over the limit of 65536 bytes"):
        decoder.next_packet()
    with pytest.raises(ProtocolError):  # and it stays so
        decoder.next_packet()


def test_what_was_read_is_let_go() -> None:
    packet = encode(Publish("t", b"x" * 5000))
    piece = packet[-7:] + packet + packet[:-7]  # pieces never end where a packet does
    decoder, found = Decoder(), 0
    decoder.feed(packet[:-7])
    tracemalloc.start()
    for _ in range(1000):
        decoder.feed(piece)
        while decoder.next_packet() is not None:
            found += 1
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert found == 2000
    assert peak < 200_000  # of 10 MB that went through


@pytest.mark.parametrize(
    "packet",
    [
        Publish("t", b"", 1),
        Publish("t", b"", 0, 5),
        Publish("t" * 70_000, b""),
        Puback(70_000),
        Publish("\ud800", b""),
    ],
)
def test_what_no_packet_can_carry_is_not_written(packet: Packet) -> None:
    with pytest.raises((ValueError, OverflowError)):
        encode(packet)
