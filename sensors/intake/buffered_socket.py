"""A socket that reads and writes much at once, and takes the messages before paho sees them.

paho reads a packet by three calls and writes each acknowledgement by one; each is a call of the system and
lets go of the interpreter's lock, which the thread that stores then holds for a while.
"""

import ssl
from contextlib import suppress
from typing import Any, cast

from paho.mqtt.client import Client

from sensors.intake.publish_sieve import Arrived, PublishSieve

READ_AT_ONCE = 64 * 1024
"""Bytes taken from the system in one go, at most."""


class BufferedSocket:
    """Stands before a non-blocking socket: reads ahead, and keeps what is sent until `flush`.

    Messages are had from `next_message`; `recv` gives what else the broker says. `level` is the protocol
    level.
    """

    def __init__(self, sock: Any, level: int) -> None:
        self._sock = sock
        self._sieve = PublishSieve(level)
        self._lost: OSError | None = None
        self._ended = False
        self._to_send = bytearray()

    @property
    def unsent(self) -> bool:
        """Whether something waits for `flush`."""
        return bool(self._to_send)

    def fill(self) -> bool:
        """Read from the system what it has; False where that is nothing now.

        What is wrong with the connection, or its end, is for `recv` to tell.
        """
        try:
            data = self._sock.recv(READ_AT_ONCE)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return False
        except OSError as error:
            self._lost = error
            return True
        self._ended = not data
        self._sieve.feed(data)
        return True

    def next_message(self) -> Arrived | None:
        """The next message of what was read; None where none is next. Raises ProtocolError."""
        return self._sieve.next_message()

    @property
    def has_others(self) -> bool:
        """Whether `recv` has something to give or to tell, once `next_message` has no more."""
        return self._sieve.has_others or self._ended or self._lost is not None

    def recv(self, size: int) -> bytes:
        """Up to `size` bytes of what is no message; none at the end of the stream.

        Raises BlockingIOError where nothing was read, and OSError where the connection is lost.
        """
        data = self._sieve.read_others(size)
        if data or self._ended:
            return data
        raise self._lost or BlockingIOError

    def send(self, data: bytes | bytearray) -> int:
        """Keep for the next `flush`; always the whole of it."""
        self._to_send += data
        return len(data)

    def flush(self) -> None:
        """Send as much as the system takes now. Raises OSError where the connection is lost."""
        while self._to_send:
            try:
                sent = self._sock.send(self._to_send)
            except (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError):
                return
            del self._to_send[:sent]

    def fileno(self) -> int:
        """The number that an event loop watches."""
        return cast(int, self._sock.fileno())

    def setblocking(self, flag: bool) -> None:
        """Whether reading waits."""
        self._sock.setblocking(flag)

    def close(self) -> None:
        """Close it, after what can be sent at once."""
        with suppress(OSError):
            self.flush()
        self._sock.close()


class BufferedClient(Client):
    """paho's client over such a socket. Who drives it calls `loop_write`, and then `flush` of its socket."""

    def _create_socket(self) -> BufferedSocket:
        return BufferedSocket(super()._create_socket(), self.protocol)
