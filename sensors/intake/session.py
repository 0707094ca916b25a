"""One client's connection, from CONNECT to its end. A message is acknowledged only when it is stored."""

import asyncio
import logging
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from sensors.clock import Clock
from sensors.intake.decoder import Decoder
from sensors.intake.encoder import encode
from sensors.intake.message import Message, forbidden, interpret
from sensors.intake.packets import (
    ACCEPTED,
    SUBSCRIPTION_REFUSED,
    Connack,
    Connect,
    Disconnect,
    Packet,
    Pingreq,
    Pingresp,
    ProtocolError,
    Puback,
    Publish,
    Suback,
    Subscribe,
    Unsuback,
    Unsubscribe,
    Will,
)
from sensors.mapping import Mapping
from sensors.reading import Rejected
from sensors.topics import quoted

CHUNK = 64 * 1024
"""Bytes taken from a connection in one go."""

IN_FLIGHT_LIMIT = 512 * 1024
"""Bytes a client may have waiting to be stored before no more are read from it."""

MESSAGE_OVERHEAD = 256
"""What a message counts for beyond its payload [bytes], so that many small ones are bounded too."""

LINGER_S = 2.0
"""How long a closing connection may take to send its last bytes [s]."""

log = logging.getLogger("slowcorner.mqtt")


@dataclass
class Counts:
    """What has come in since the start."""

    connections: int = 0
    refused: int = 0
    """Connections that were not let in."""
    messages: int = 0
    rejected: int = 0
    """Payloads, or records of them, that were kept out."""
    breaches: int = 0
    """Connections closed for breaking the protocol."""
    too_large: int = 0
    """Packets over the size limit, among the breaches."""
    not_stored: int = 0
    """Messages the sink failed on, and that were not acknowledged."""


class Host(Protocol):
    """What a session asks of the listener that has it."""

    clock: Clock
    counts: Counts
    max_packet: int
    takes_presses: bool
    connect_wait_s: float
    mappings: Sequence[Mapping]

    async def admit(self, session: "Session", connect: Connect) -> int:
        """Let a client in or not: a return code for its CONNACK."""
        ...

    def is_allowed(self, session: "Session", topic: str) -> bool:
        """Whether a client may publish under a topic."""
        ...

    def deliver(self, message: Message) -> asyncio.Future[object]:
        """Hand a message to the sink; done when it is stored."""
        ...


class _InFlight(NamedTuple):
    packet_id: int | None
    size: int
    stored: asyncio.Future[object]


class _NotStoredError(Exception):
    """The sink failed: without an acknowledgement the client sends again, to a connection that works."""


class Session:
    """One connection. `task` runs it; whoever made the session owns the task."""

    task: asyncio.Task[None]

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, host: Host) -> None:
        self.client_id = ""
        self.user_name = ""
        self._reader = reader
        self._writer = writer
        self._host = host
        self._decoder = Decoder(max_packet=host.max_packet)
        self._silence_s: float | None = host.connect_wait_s
        self._will: Will | None = None
        self._in_flight: deque[_InFlight] = deque()
        self._in_flight_bytes = 0
        self._room = asyncio.Event()
        self._news = asyncio.Event()
        self._read_all = False

    async def run(self) -> None:
        """Serve the client until one side ends the connection."""
        try:
            if await self._let_in():
                async with asyncio.TaskGroup() as tasks:
                    tasks.create_task(self._read(), name=f"mqtt read {self.client_id}")
                    tasks.create_task(self._acknowledge(), name=f"mqtt acknowledge {self.client_id}")
        except* (OSError, _NotStoredError):
            pass  # the client is gone, or must come again
        finally:
            self.say_will()
            await self._close()

    def say_will(self) -> None:
        """Publish the will, once, of a client that left without a DISCONNECT (3.1.2.5)."""
        if self._will is not None:
            self._host.deliver(self._interpret(self._will.topic, self._will.payload, self._will.retain))
            self._will = None

    def forget_will(self) -> None:
        """Let the connection end without its will: it is not the client's doing."""
        self._will = None

    async def _let_in(self) -> bool:
        """Take the CONNECT, which must come first and soon (3.1, 4.2), and answer it."""
        try:
            connect = await self._next_packet()
            if connect is not None and not isinstance(connect, Connect):
                raise ProtocolError(f"{_name(connect)} came before CONNECT")
        except ProtocolError as breach:
            self._breached(breach)
            connect = None
        except TimeoutError:
            log.info("A connection sent no CONNECT in %g s and is closed", self._host.connect_wait_s)
            connect = None
        if connect is None:
            self._host.counts.refused += 1
            return False
        self.client_id = connect.client_id or f"unnamed-{self._host.counts.connections}"
        self.user_name = connect.user_name or ""
        code = await self._host.admit(self, connect)
        self._writer.write(encode(Connack(code)))
        if code != ACCEPTED:
            self._host.counts.refused += 1
            log.warning("MQTT client %s was refused with code %d", quoted(self.client_id), code)
            return False
        self._will = connect.will
        # 3.1.2.10: one and a half times the keep-alive; 0 switches it off.
        self._silence_s = connect.keep_alive_s * 1.5 or None
        return True

    async def _next_packet(self) -> Packet | None:
        """The next packet, None when the client has closed. Raises TimeoutError after too long a silence."""
        packet = self._decoder.next_packet()
        if packet is None:
            async with asyncio.timeout(self._silence_s):
                while packet is None:
                    data = await self._reader.read(CHUNK)
                    if not data:
                        return None
                    self._decoder.feed(data)
                    packet = self._decoder.next_packet()
        return packet

    async def _read(self) -> None:
        try:
            while (packet := await self._next_packet()) is not None:
                if isinstance(packet, Publish):
                    await self._take(packet)
                elif isinstance(packet, Disconnect):
                    self._will = None
                    break
                else:
                    await self._answer(packet)
        except ProtocolError as breach:
            self._breached(breach)
        except TimeoutError:
            log.info("MQTT client %s was silent for %g s", quoted(self.client_id), self._silence_s)
        except OSError:
            pass  # the client is gone
        self._read_all = True
        self._news.set()

    async def _take(self, publish: Publish) -> None:
        if publish.qos == 2:
            raise ProtocolError("quality of service 2 is not taken: publish with 1")
        message = self._interpret(publish.topic, publish.payload, publish.retain)
        size = len(publish.payload) + MESSAGE_OVERHEAD
        self._in_flight.append(_InFlight(publish.packet_id, size, self._host.deliver(message)))
        self._in_flight_bytes += size
        self._news.set()
        while self._in_flight_bytes > IN_FLIGHT_LIMIT:
            self._room.clear()
            await self._room.wait()

    def _interpret(self, topic: str, payload: bytes, retained: bool) -> Message:
        host = self._host
        now = host.clock.now()
        if not host.is_allowed(self, topic):
            # 3.3.5.2: acknowledged, or the connection closed. A node that is closed sends the same for ever.
            message = forbidden(topic, payload, now, self.user_name)
        else:
            message = interpret(
                topic,
                payload,
                now,
                retained=retained,
                takes_presses=host.takes_presses,
                mappings=host.mappings,
            )
        host.counts.messages += 1
        host.counts.rejected += len(message.rejected)
        return message

    async def _answer(self, packet: Packet) -> None:
        match packet:
            case Pingreq():
                answer: Packet = Pingresp()
            case Subscribe(packet_id, filters):
                answer = Suback(packet_id, (SUBSCRIPTION_REFUSED,) * len(filters))
            case Unsubscribe(packet_id):
                answer = Unsuback(packet_id)
            case _:
                raise ProtocolError(f"{_name(packet)} is not for a client to send here")
        self._writer.write(encode(answer))
        await self._writer.drain()

    async def _acknowledge(self) -> None:
        """Send a PUBACK for each message that is stored, in the order they came (4.6)."""
        while True:
            while not self._in_flight:
                if self._read_all:
                    return
                self._news.clear()
                await self._news.wait()
            # Not awaited directly: a session that is cancelled must not take its messages back.
            if not self._in_flight[0].stored.done():
                await asyncio.wait((self._in_flight[0].stored,))
            acknowledgements = bytearray()
            failed = False
            while self._in_flight and self._in_flight[0].stored.done() and not failed:
                packet_id, size, stored = self._in_flight.popleft()
                self._in_flight_bytes -= size
                failed = stored.cancelled() or stored.exception() is not None
                if packet_id is not None and not failed:
                    acknowledgements += encode(Puback(packet_id))
            self._room.set()
            self._writer.write(bytes(acknowledgements))
            await self._writer.drain()
            if failed:
                raise _NotStoredError

    def _breached(self, breach: ProtocolError) -> None:
        """Count it, answer it where the standard has an answer, and keep it if the client had been let in."""
        self._host.counts.breaches += 1
        self._host.counts.too_large += breach.too_large
        self._writer.write(breach.reply)
        client = f"MQTT client {quoted(self.client_id)}" if self.client_id else "An MQTT client not let in"
        log.warning("%s broke the protocol and its connection is closed: %s", client, breach.reason)
        if self.client_id:
            now = self._host.clock.now()
            rejected = Rejected(client, f"{breach.reason}; the connection was closed", b"", now)
            self._host.counts.rejected += 1
            self._host.deliver(Message(now, rejected=(rejected,)))

    async def _close(self) -> None:
        self._writer.close()
        try:
            async with asyncio.timeout(LINGER_S):
                await self._writer.wait_closed()
        except TimeoutError:
            self._writer.transport.abort()
        except OSError:
            pass  # the client is gone


def _name(packet: Packet) -> str:
    return type(packet).__name__.upper()
