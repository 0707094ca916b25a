"""A broker just big enough for tests of clients: it keeps what it hears, and can hold its answers."""

import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType

PATIENCE_S = 20.0


@dataclass(frozen=True)
class Heard:
    topic: str
    payload: bytes
    qos: int
    retain: bool
    again: bool


@dataclass(frozen=True)
class Joined:
    client: str
    will_topic: str
    will: bytes


class Broker:
    """Listens on a free port of the loopback from the start; one thread for each client."""

    def __init__(self, port: int = 0, acknowledges: bool = True) -> None:
        self.heard: list[Heard] = []
        self.joined: list[Joined] = []
        self.news = threading.Condition()
        self._acknowledges = acknowledges
        self._owed: list[tuple[socket.socket, bytes]] = []
        self._clients: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._server = socket.create_server(("127.0.0.1", port))
        self.port: int = self._server.getsockname()[1]
        self._accepting = threading.Thread(target=self._accept)
        self._accepting.start()

    def __enter__(self) -> "Broker":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self._server.shutdown(socket.SHUT_RDWR)
        self._accepting.join()
        self._server.close()
        self.drop()
        for thread in self._threads:
            thread.join()

    def drop(self) -> None:
        """Cut every client off."""
        with self.news:
            for client in self._clients:
                try:
                    client.shutdown(socket.SHUT_RDWR)
                except OSError:
                    continue  # it has gone by itself

    def acknowledge(self) -> None:
        """Send the acknowledgements that were held, and from now on at once."""
        with self.news:
            self._acknowledges = True
            for client, answer in self._owed:
                client.sendall(answer)
            self._owed.clear()

    def wait(self, until: Callable[[], bool]) -> None:
        with self.news:
            if not self.news.wait_for(until, PATIENCE_S):
                raise AssertionError(f"not within {PATIENCE_S} s; heard {self.heard[-5:]}")

    def readings(self) -> list[Heard]:
        return [one for one in self.heard if one.topic.endswith("/senml")]

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._server.accept()
            except OSError:
                return
            with self.news:
                self._clients.append(client)
                thread = threading.Thread(target=self._serve, args=(client,))
                self._threads.append(thread)
                thread.start()

    def _serve(self, client: socket.socket) -> None:
        try:
            with client.makefile("rb") as stream:
                while head := stream.read(1):
                    length = shift = 0
                    while True:
                        more = stream.read(1)[0]
                        length |= (more & 127) << shift
                        shift += 7
                        if more < 128:
                            break
                    self._take(client, head[0], stream.read(length))
        except (OSError, IndexError):
            pass  # cut off
        finally:
            with self.news:
                self._clients.remove(client)
                self._owed = [owed for owed in self._owed if owed[0] is not client]
                client.close()
                self.news.notify_all()

    def _take(self, client: socket.socket, head: int, body: bytes) -> None:
        with self.news:
            if head >> 4 == 1:
                # Client, will topic and will follow the ten bytes that every CONNECT of 3.1.1 begins with.
                name, topic, will = _texts(body[10:])[:3]
                self.joined.append(Joined(name.decode(), topic.decode(), will))
                client.sendall(b"\x20\x02\x00\x00")
            elif head >> 4 == 3:
                length = int.from_bytes(body[:2], "big")
                topic, rest = body[2 : 2 + length], body[2 + length :]
                qos = head >> 1 & 3
                answer = b"\x40\x02" + rest[:2]
                payload = rest[2:] if qos else rest
                self.heard.append(Heard(topic.decode(), payload, qos, bool(head & 1), bool(head & 8)))
                if qos and self._acknowledges:
                    client.sendall(answer)
                elif qos:
                    self._owed.append((client, answer))
            elif head >> 4 == 12:
                client.sendall(b"\xd0\x00")
            self.news.notify_all()


def _texts(body: bytes) -> list[bytes]:
    texts = []
    while body:
        length = int.from_bytes(body[:2], "big")
        texts.append(body[2 : 2 + length])
        body = body[2 + length :]
    return texts
