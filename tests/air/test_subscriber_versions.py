"""A broker that does not speak MQTT 5 is spoken to in 3.1.1; and what a connection does with odd ends."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

from sensors.clock import SetClock
from sensors.intake.broker import Broker
from sensors.intake.broker_reader import BURST
from sensors.intake.decoder import Decoder
from sensors.intake.encoder import encode
from sensors.intake.in_flight import MESSAGES
from sensors.intake.message import Message
from sensors.intake.packets import Connack, Connect, Packet, Puback, Publish, Suback, Subscribe
from sensors.intake.subscriber import Sink, Subscriber
from tests.air.wire import GOOD, NOW, TOPIC, Shelf, run

LEVEL_AT = 8
"""Where a CONNECT tells its version: after the fixed header of two bytes and the name (3.1.2.2)."""

ALL = range(1, MESSAGES + 501)

REFUSED_VERSION = b"\x20\x02\x00\x01"


class OldBroker:
    """Speaks 3.1.1 and nothing later. It sends what it is told to, and remembers what it was told."""

    def __init__(self, *sends: bytes, levels: tuple[int, ...] = (4,)) -> None:
        self.heard: list[Packet] = []
        self.levels: list[int] = []
        self.news = asyncio.Condition()
        self.served: set[asyncio.Task[None] | None] = set()
        self._sends = sends
        self._spoken = levels

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.served.add(asyncio.current_task())
        first = await reader.read(65536)
        self.levels.append(first[LEVEL_AT])
        if first[LEVEL_AT] not in self._spoken:
            writer.write(REFUSED_VERSION)
        else:
            await self._converse(first, reader, writer)
        writer.close()

    async def has(self, packet: Packet) -> None:
        async with self.news:
            await self.news.wait_for(lambda: packet in self.heard)

    async def _converse(
        self, data: bytes, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        decoder = Decoder()
        while data:
            decoder.feed(data)
            while (packet := decoder.next_packet()) is not None:
                if isinstance(packet, Connect):
                    writer.write(encode(Connack(0)))
                if isinstance(packet, Subscribe):
                    writer.write(encode(Suback(packet.packet_id, (1,) * len(packet.filters))))
                    writer.write(b"".join(self._sends))
                async with self.news:
                    self.heard.append(packet)
                    self.news.notify_all()
            data = await reader.read(65536)


@asynccontextmanager
async def subscribed(
    broker: OldBroker, sink: Sink, wait: Callable[[float], Awaitable[object]] = asyncio.sleep
) -> AsyncIterator[Subscriber]:
    server = await asyncio.start_server(broker.serve, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    subscriber = Subscriber(Broker("127.0.0.1", port, "t"), sink, SetClock(NOW), wait=wait)
    await subscriber.start()
    try:
        yield subscriber
    finally:
        await subscriber.stop()
        await asyncio.gather(*(task for task in broker.served if task is not None))
        server.close()
        await server.wait_closed()


def test_a_broker_of_the_older_version_is_spoken_to_in_it() -> None:
    async def main() -> None:
        shelf, broker = Shelf(), OldBroker(encode(Publish(TOPIC, GOOD, 1, 7)))
        async with subscribed(broker, shelf):
            await shelf.has(1)
            await broker.has(Puback(7))
        assert shelf.said() == ["temperature 21.5"]
        assert broker.levels == [5, 4]
        connect = broker.heard[0]
        assert isinstance(connect, Connect)
        assert connect.client_id == "t"

    run(main())


def test_messages_are_acknowledged_in_their_order_and_only_when_stored() -> None:
    async def main() -> None:
        said = [encode(Publish(TOPIC, b'[{"n":"mass","u":"kg","v":%d}]' % n, 1, n)) for n in (1, 2, 3)]
        shelf, broker = Shelf(), OldBroker(*said)
        shelf.holding = True
        async with subscribed(broker, shelf):
            await shelf.has(3)
            await asyncio.sleep(0)  # the sink holds the last one from its next turn on
            assert len(shelf.held) == 3
            shelf.held[2].set_result(None)
            shelf.held[1].set_result(None)
            for _ in range(20):  # an acknowledgement that is sent too early would be sent by now
                await asyncio.sleep(0)
            assert not any(isinstance(packet, Puback) for packet in broker.heard)
            shelf.let_go()
            await broker.has(Puback(3))
        assert [one for one in broker.heard if isinstance(one, Puback)] == [Puback(1), Puback(2), Puback(3)]

    run(main())


def test_no_more_is_read_ahead_than_two_batches_and_the_rest_once_these_are_stored() -> None:
    async def main() -> None:
        said = [encode(Publish(TOPIC, b'[{"n":"mass","u":"kg","v":1,"t":-%d}]' % n, 1, n)) for n in ALL]
        shelf, broker = Shelf(), OldBroker(*said)
        shelf.holding = True
        async with subscribed(broker, shelf):
            await shelf.has(MESSAGES)
            for _ in range(20):  # one that is read too early would be there by now
                await asyncio.sleep(0)
            assert len(shelf.messages) == len(shelf.held) == MESSAGES
            shelf.let_go()
            await shelf.has(len(ALL))
            await broker.has(Puback(ALL[-1]))

    run(main())


def test_others_get_their_turn_while_much_is_read() -> None:
    async def main() -> None:
        said = [encode(Publish(TOPIC, b'[{"n":"mass","u":"kg","v":1,"t":-%d}]' % n, 1, n)) for n in ALL]
        broker, taken, stored = OldBroker(*said), 0, asyncio.get_running_loop().create_future()
        stored.set_result(None)

        def sink(_message: Message) -> asyncio.Future[None]:
            nonlocal taken
            taken += 1
            return stored

        most = before = 0
        async with subscribed(broker, sink):
            while taken < len(ALL):
                await asyncio.sleep(0)
                most, before = max(most, taken - before), taken
        # What was read ahead has its turn, and then the reader's own comes, in which little can be left.
        assert BURST <= most <= 2 * BURST

    run(main())


def test_a_broker_that_breaks_the_protocol_is_said() -> None:
    async def main() -> None:
        asked = asyncio.Event()

        async def wait(_seconds: float) -> None:
            asked.set()
            await asyncio.Event().wait()

        async with subscribed(OldBroker(b"\x32\x03\x00\x09a"), Shelf(), wait) as subscriber:
            await asked.wait()
            assert subscriber.trouble is not None
            assert "it broke the protocol: a PUBLISH ends before its payload" in subscriber.trouble

    run(main())


def test_a_payload_over_the_limit_is_kept_out_with_its_reason_and_acknowledged() -> None:
    async def main() -> None:
        shelf, broker = Shelf(), OldBroker(encode(Publish(TOPIC, b" " * 70_000, 1, 7)))
        async with subscribed(broker, shelf):
            (message,) = await shelf.has(1)
            await broker.has(Puback(7))
        (rejected,) = message.rejected
        assert rejected.reason == "payload of 70000 bytes is over the limit of 65536 bytes"
        assert len(rejected.payload) == 1024

    run(main())


def test_a_broker_of_neither_version_is_said() -> None:
    async def main() -> None:
        asked = asyncio.Event()

        async def wait(_seconds: float) -> None:
            asked.set()
            await asyncio.Event().wait()

        async with subscribed(OldBroker(levels=()), Shelf(), wait) as subscriber:
            await asked.wait()
            assert subscriber.trouble is not None
            assert "neither MQTT 5 nor 3.1.1" in subscriber.trouble

    run(main())
