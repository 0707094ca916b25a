"""A socket that reads and writes much at once, for a client that asks for a byte or a packet at a time.

paho reads a packet by three calls and writes each acknowledgement by one; each is a call of the system and
lets go of the interpreter's lock, which the thread that stores then holds for a while.
"""

import ssl
from contextlib import suppress
from typing import Any, cast

from paho.mqtt.client import Client

READ_AT_ONCE = 64 * 1024
"""Bytes taken from the system in one go, at most."""


class BufferedSocket:
    """Stands before a non-blocking socket: keeps what is sent until `flush`, and what was read ahead.

    Errors are those of the socket: `BlockingIOError`, or TLS's wants, where there is nothing to read.
    """

    def __init__(self, sock: Any) -> None:
        self._sock = sock
        self._read = b""
        self._at = 0
        self._to_send = bytearray()

    @property
    def unsent(self) -> bool:
        """Whether something waits for `flush`."""
        return bool(self._to_send)

    def recv(self, size: int) -> bytes:
        """Up to `size` bytes; none at the end of the stream."""
        if self._at == len(self._read):
            self._read, self._at = self._sock.recv(READ_AT_ONCE), 0
        start, self._at = self._at, min(self._at + size, len(self._read))
        return self._read[start : self._at]

    def pending(self) -> int:
        """Bytes that can be read though the system has nothing more to tell."""
        decrypted = self._sock.pending() if isinstance(self._sock, ssl.SSLSocket) else 0
        return len(self._read) - self._at + decrypted

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
        return BufferedSocket(super()._create_socket())
