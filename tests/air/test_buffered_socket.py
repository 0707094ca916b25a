"""The socket before paho's: nothing is lost or reordered, whatever sizes are given and taken at once."""

import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.intake.buffered_socket import BufferedSocket
from sensors.intake.encoder import encode
from sensors.intake.packets import LEVEL, Pingresp, Publish, Suback

MESSAGES = [encode(Publish("a", b"%d" % n, 1, n + 1)) for n in range(3)]
PINGRESP, SUBACK = encode(Pingresp()), encode(Suback(1, (1,) * 30))


class Slow:
    """A socket that gives and takes as many bytes at once as it is told, and then makes wait."""

    def __init__(self, incoming: bytes, sizes: list[int]) -> None:
        self.incoming, self.sizes, self.sent = incoming, iter(sizes), b""

    def recv(self, size: int) -> bytes:
        count = self._next(size)
        data, self.incoming = self.incoming[:count], self.incoming[count:]
        return data

    def send(self, data: bytes) -> int:
        taken = bytes(data[: self._next(len(data))])
        self.sent += taken
        return len(taken)

    def _next(self, most: int) -> int:
        count = min(next(self.sizes, most), most)
        if count == 0:
            raise BlockingIOError
        return count


@pytest.fixture
def pair() -> Iterator[tuple[BufferedSocket, socket.socket]]:
    ours, theirs = socket.socketpair()
    buffered = BufferedSocket(ours, LEVEL)
    buffered.setblocking(False)
    with theirs:
        yield buffered, theirs
    buffered.close()


@given(st.lists(st.integers(0, 40)), st.integers(1, 30))
def test_gives_messages_and_the_rest_of_what_came(sizes: list[int], asked: int) -> None:
    said = PINGRESP + b"".join(MESSAGES) + SUBACK + MESSAGES[0]
    slow = Slow(said, sizes)
    buffered = BufferedSocket(slow, LEVEL)
    payloads: list[bytes] = []
    rest = b""
    while slow.incoming or buffered.has_others or len(payloads) < 4:
        message = buffered.next_message()
        if message is not None:
            payloads.append(message.payload)
        elif buffered.has_others:
            some = buffered.recv(asked)
            assert 0 < len(some) <= asked
            rest += some
        else:
            buffered.fill()
    assert payloads == [b"0", b"1", b"2", b"0"]
    assert rest == PINGRESP + SUBACK


@given(st.lists(st.binary(max_size=60)), st.lists(st.integers(0, 40)))
def test_sends_all_in_its_order_though_little_is_taken_at_once(
    packets: list[bytes], sizes: list[int]
) -> None:
    slow = Slow(b"", sizes)
    buffered = BufferedSocket(slow, LEVEL)
    for packet in packets:
        assert buffered.send(packet) == len(packet)
        buffered.flush()
    while buffered.unsent:
        buffered.flush()
    assert slow.sent == b"".join(packets)


def test_nothing_goes_out_before_it_is_flushed(pair: tuple[BufferedSocket, socket.socket]) -> None:
    buffered, theirs = pair
    theirs.setblocking(False)
    buffered.send(b"one")
    with pytest.raises(BlockingIOError):
        theirs.recv(10)
    buffered.send(b"two")
    buffered.flush()
    assert theirs.recv(10) == b"onetwo"


def test_no_message_is_given_to_who_asks_for_the_rest(pair: tuple[BufferedSocket, socket.socket]) -> None:
    buffered, theirs = pair
    assert not buffered.fill()
    theirs.sendall(MESSAGES[0])
    assert buffered.fill()
    with pytest.raises(BlockingIOError):
        buffered.recv(1)
    assert not buffered.has_others
    assert buffered.next_message() is not None


def test_the_end_is_an_end_once_all_before_it_is_had(pair: tuple[BufferedSocket, socket.socket]) -> None:
    buffered, theirs = pair
    theirs.sendall(MESSAGES[0] + PINGRESP)
    theirs.shutdown(socket.SHUT_WR)
    assert buffered.fill()
    assert buffered.fill()
    assert buffered.next_message() is not None
    assert buffered.next_message() is None
    assert buffered.recv(9) == PINGRESP
    assert buffered.has_others
    assert buffered.recv(9) == b""


def test_a_connection_that_is_lost_is_told_by_recv() -> None:
    class Lost:
        def recv(self, _size: int) -> bytes:
            raise ConnectionResetError("gone")

    buffered = BufferedSocket(Lost(), LEVEL)
    assert buffered.fill()
    assert buffered.has_others
    with pytest.raises(ConnectionResetError, match="gone"):
        buffered.recv(1)


def test_closing_sends_what_can_be_sent(pair: tuple[BufferedSocket, socket.socket]) -> None:
    buffered, theirs = pair
    buffered.send(b"farewell")
    buffered.close()
    assert theirs.recv(20) == b"farewell"


def test_a_lost_connection_is_told_by_flush(pair: tuple[BufferedSocket, socket.socket]) -> None:
    buffered, theirs = pair
    theirs.close()
    buffered.send(b"x")
    with pytest.raises(OSError, match=r"pipe|reset"):
        buffered.flush()
