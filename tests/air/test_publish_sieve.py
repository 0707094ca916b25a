"""The sieve of a broker's bytes: messages and the rest come out whole and in order, however they came in."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.intake.breach import ProtocolError
from sensors.intake.encoder import encode
from sensors.intake.packets import LEVEL, LEVEL_5, Connack, Packet, Pingresp, Puback, Publish, Suback
from sensors.intake.properties import Property
from sensors.intake.publish_sieve import Arrived, PublishSieve

TOPIC = "slowcorner/shop/n1/senml"


def publishes(level: int, *qualities: int) -> st.SearchStrategy[Packet]:
    """Messages with one of these qualities of service, at that level."""
    properties: st.SearchStrategy[tuple[tuple[Property, int | tuple[str, str]], ...]] = st.just(())
    if level == LEVEL_5:
        told = (Property.MESSAGE_EXPIRY_INTERVAL, 60), (Property.USER_PROPERTY, ("from", "x" * 150))
        properties = st.sampled_from(((), told[:1], told))
    return st.builds(
        lambda topic, payload, qos, packet_id, retain, dup, properties: Publish(
            topic, payload, qos, packet_id if qos else None, retain, dup and qos > 0, properties
        ),
        st.sampled_from((TOPIC, "a", "wörk/räck")),
        st.binary(max_size=300),
        st.sampled_from(qualities),
        st.integers(1, 65535),
        st.booleans(),
        st.booleans(),
        properties,
    )


def others(level: int) -> st.SearchStrategy[Packet]:
    """What else a broker says; messages of quality of service 2 among it."""
    said: tuple[Packet, ...] = (Connack(0), Pingresp(), Puback(7), Suback(9, (1,) * 200))
    return st.sampled_from(said) | publishes(level, 2)


def come_out(level: int, pieces: Iterator[bytes], size: int) -> tuple[list[Arrived], bytes]:
    """Messages and other bytes, these read by at most `size`, as the client behind a sieve has them."""
    sieve, rest = PublishSieve(level), b""
    messages: list[Arrived] = []
    for piece in pieces:
        sieve.feed(piece)
        while True:
            message = sieve.next_message()
            if message is not None:
                messages.append(message)
            elif sieve.has_others:
                some = sieve.read_others(size)
                assert 0 < len(some) <= size
                rest += some
            else:
                break
    return messages, rest


@pytest.mark.parametrize("level", [LEVEL, LEVEL_5])
@given(data=st.data())
def test_messages_and_the_rest_come_out_whole_and_in_their_order(level: int, data: st.DataObject) -> None:
    packets = data.draw(st.lists(publishes(level, 0, 1) | others(level), max_size=12))
    stream = b"".join(encode(one, level) for one in packets)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=20)))
    pieces = (stream[start:end] for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True))
    messages, rest = come_out(level, pieces, data.draw(st.integers(1, 100)))
    taken = [one for one in packets if isinstance(one, Publish) and one.qos < 2]
    assert messages == [(one.topic, one.payload, one.retain, one.packet_id or 0, one.qos) for one in taken]
    assert rest == b"".join(encode(one, level) for one in packets if one not in taken)


@given(st.binary(max_size=200), st.sampled_from((LEVEL, LEVEL_5)))
def test_no_bytes_raise_anything_but_a_breach(data: bytes, level: int) -> None:
    try:
        messages, rest = come_out(level, iter((data,)), 10)
    except ProtocolError:
        return
    assert sum(len(one.payload) for one in messages) + len(rest) <= len(data)


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        (b"\x32\x05\x00\x09abc", "ends before its payload"),
        (b"\x32\x04\x00\x02ab", "ends before its payload"),
        (b"\x32\x06\x00\x02ab\x00\x07", "ends before its payload"),
        (b"\x32\x07\x00\x02ab\x00\x07\x09", "ends before its payload"),
        (b"\x30\x05\x00\x02\xff\xfe\x00", "not UTF-8"),
        (b"\x30\xff\xff\xff\xff\x01", "a packet: the remaining length has more than 4 bytes"),
    ],
)
def test_what_is_no_packet_is_a_breach(said: bytes, reason: str) -> None:
    sieve = PublishSieve(LEVEL_5)
    sieve.feed(said)
    with pytest.raises(ProtocolError, match=reason):
        sieve.next_message()


def test_a_message_of_many_pieces_is_waited_for() -> None:
    said = encode(Publish(TOPIC, b"x" * 70_000, 1, 7))
    pieces = (said[start : start + 1000] for start in range(0, len(said), 1000))
    assert come_out(LEVEL, pieces, 100) == ([(TOPIC, b"x" * 70_000, False, 7, 1)], b"")
