"""The socket before paho's: nothing is lost or reordered, whatever sizes are asked for and taken."""

import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.intake.buffered_socket import BufferedSocket


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
    buffered = BufferedSocket(ours)
    buffered.setblocking(False)
    with theirs:
        yield buffered, theirs
    buffered.close()


@given(st.binary(max_size=300), st.lists(st.integers(0, 40)), st.lists(st.integers(1, 90), min_size=1))
def test_reads_what_came_in_its_order(said: bytes, sizes: list[int], asked: list[int]) -> None:
    buffered = BufferedSocket(Slow(said, sizes))
    read = b""
    while len(read) < len(said):
        want = asked[len(read) % len(asked)]
        try:
            some = buffered.recv(want)
        except BlockingIOError:
            assert buffered.pending() == 0
            continue
        assert 0 < len(some) <= want
        read += some
    assert read == said


@given(st.lists(st.binary(max_size=60)), st.lists(st.integers(0, 40)))
def test_sends_all_in_its_order_though_little_is_taken_at_once(
    packets: list[bytes], sizes: list[int]
) -> None:
    slow = Slow(b"", sizes)
    buffered = BufferedSocket(slow)
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


def test_what_is_read_ahead_is_pending_and_the_end_is_an_end(
    pair: tuple[BufferedSocket, socket.socket],
) -> None:
    buffered, theirs = pair
    with pytest.raises(BlockingIOError):
        buffered.recv(1)
    theirs.sendall(b"abcdef")
    theirs.shutdown(socket.SHUT_WR)
    assert buffered.recv(2) == b"ab"
    assert buffered.pending() == 4
    assert buffered.recv(9) == b"cdef"
    assert buffered.pending() == 0
    assert buffered.recv(1) == b""


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
