"""Both ends of a wire, for tests of the listener: a client told what to say, and a sink to look into."""

import asyncio
from collections.abc import AsyncIterator, Coroutine
from contextlib import asynccontextmanager, suppress
from typing import Any

from sensors.clock import SetClock, parse_time
from sensors.intake.decoder import Decoder
from sensors.intake.encoder import encode
from sensors.intake.listener import Listener, Login, Sink
from sensors.intake.message import Message
from sensors.intake.packets import LEVEL, Connack, Connect, Packet, Pingreq, Pingresp, Publish

NOW = parse_time("2026-03-02T06:00:00Z")
TOPIC = "slowcorner/shop/n1/senml"
STATUS = "slowcorner/shop/n1/status"
GOOD = b'[{"n":"temperature","u":"Cel","v":21.5}]'
PATIENCE_S = 20.0
"""How long a test waits for what must come [s]."""


def run(main: Coroutine[Any, Any, None]) -> None:
    """Run a test to its end, which must come, and with nothing left running."""

    async def bounded() -> None:
        async with asyncio.timeout(PATIENCE_S):
            await main
        assert asyncio.all_tasks() == {asyncio.current_task()}

    asyncio.run(bounded(), debug=False)


class Shelf:
    """A sink that remembers, and that can be told to hold messages back or to fail."""

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self.held: list[asyncio.Future[None]] = []
        self.holding = False
        self.error: Exception | None = None
        self._grew = asyncio.Condition()

    async def __call__(self, message: Message) -> None:
        if self.error is not None:
            raise self.error
        self.messages.append(message)
        async with self._grew:
            self._grew.notify_all()
        if self.holding:
            turn = asyncio.get_running_loop().create_future()
            self.held.append(turn)
            await turn

    async def has(self, count: int) -> list[Message]:
        """Wait until there are that many messages."""
        async with self._grew:
            await self._grew.wait_for(lambda: len(self.messages) >= count)
        return self.messages

    def let_go(self) -> None:
        """Store what was held, and hold no more."""
        self.holding = False
        for turn in self.held:
            if not turn.done():
                turn.set_result(None)

    def said(self) -> list[str]:
        """What came, in short: each reading's value, each status, each reason."""
        return [word for message in self.messages for word in _words(message)]


def _words(message: Message) -> list[str]:
    return [
        *(f"{reading.name} {reading.value:g}" for reading in message.readings),
        *("online" if status.online else "offline" for status in message.statuses),
        *(rejected.reason for rejected in message.rejected),
    ]


class Client:
    """A client that says exactly what it is told to, at a protocol level."""

    def __init__(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, level: int = LEVEL
    ) -> None:
        self.reader = reader
        self.writer = writer
        self._level = level
        self._decoder = Decoder(level)

    async def say(self, *packets: Packet | bytes) -> None:
        for packet in packets:
            self.writer.write(packet if isinstance(packet, bytes) else encode(packet, self._level))
        await self.writer.drain()

    async def hear(self) -> Packet | None:
        """The next packet from the listener; None when it has closed the connection."""
        while (packet := self._decoder.next_packet()) is None:
            try:
                data = await self.reader.read(65536)
            except ConnectionError:
                return None
            if not data:
                return None
            self._decoder.feed(data)
        return packet

    async def ask(self, packet: Packet | bytes) -> Packet | None:
        await self.say(packet)
        return await self.hear()

    async def ping(self) -> None:
        assert await self.ask(Pingreq()) == Pingresp()

    def vanish(self) -> None:
        """Go without a word."""
        self.writer.transport.abort()


@asynccontextmanager
async def listening(sink: Sink, login: Login | None = None, **options: Any) -> AsyncIterator[Listener]:
    listener = Listener("127.0.0.1", 0, sink, SetClock(NOW), login, **options)
    await listener.start()
    try:
        yield listener
    finally:
        await listener.stop()


@asynccontextmanager
async def wire(listener: Listener, level: int = LEVEL) -> AsyncIterator[Client]:
    """A connection that has said nothing yet."""
    reader, writer = await asyncio.open_connection(*listener.address)
    try:
        yield Client(reader, writer, level)
    finally:
        writer.transport.abort()
        with suppress(ConnectionError):
            await writer.wait_closed()


@asynccontextmanager
async def client(listener: Listener, connect: Connect | None = None) -> AsyncIterator[Client]:
    """A connection that was let in, at the level of its CONNECT."""
    connect = connect or Connect("n1")
    async with wire(listener, connect.level) as connected:
        answer = await connected.ask(connect)
        assert isinstance(answer, Connack)
        assert (answer.code, answer.session_present) == (0, False)
        yield connected


def publish(packet_id: int, payload: bytes = GOOD, topic: str = TOPIC) -> Publish:
    return Publish(topic, payload, 1, packet_id)
