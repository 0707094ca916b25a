"""The listener under abuse: the slow, the half, the many, the wrong are refused and shown, others served."""

import asyncio
import resource
import threading
from collections.abc import Iterator
from contextlib import AsyncExitStack

import pytest

from sensors.intake.encoder import encode
from sensors.intake.listener import MAX_CONNECTIONS
from sensors.intake.packets import LEVEL_5, Connack, Connect, Disconnect, Puback, Publish
from sensors.intake.turned_away import SOURCE
from tests.air.wire import GOOD, Client, Shelf, client, listening, publish, run, wire


def shown(shelf: Shelf) -> list[str]:
    """What was told of connections that were not let in."""
    return [one.reason for message in shelf.messages for one in message.rejected if one.source == SOURCE]


def taken(shelf: Shelf) -> int:
    return sum(len(message.readings) for message in shelf.messages)


async def dribble(slow: Client, data: bytes, other: Client) -> int:
    """Say one byte for each message that the other has acknowledged, until cut off: how many messages."""
    served = 0
    hearing = asyncio.create_task(slow.hear(), name="cut off")
    for byte in data:
        if hearing.done():
            break
        await slow.say(bytes((byte,)))
        assert await other.ask(publish(served % 65535 + 1)) == Puback(served % 65535 + 1)
        served += 1
    assert served < len(data), "it was not cut off while it had bytes to say"
    said = await hearing
    assert said is None or isinstance(said, Disconnect)
    return served


def test_a_connect_byte_by_byte_is_cut_off_in_time_and_shown() -> None:
    async def main() -> None:
        shelf = Shelf()
        long_connect = encode(Connect("n" * 60_000))
        async with (
            listening(shelf, connect_wait_s=0.2) as listener,
            client(listener) as node,
            wire(listener) as slow,
        ):
            served = await dribble(slow, long_connect, node)
            assert shown(shelf) == ["a connection from 127.0.0.1 sent no CONNECT in 0.2 s and was closed"]
            assert listener.counts.refused == 1
            assert taken(shelf) == served > 0

    run(main())


def test_a_message_byte_by_byte_does_not_count_as_a_sign_of_life() -> None:
    # MQTT 3.1.1 and 5, 3.1.2.10: whole packets do; here one and a half times a keep-alive of 1 s
    async def main() -> None:
        shelf = Shelf()
        slow_one = Connect("slow", True, 1, level=LEVEL_5)
        async with listening(shelf) as listener, client(listener) as node, client(listener, slow_one) as slow:
            loop = asyncio.get_running_loop()
            started = loop.time()
            long_publish = encode(Publish("t" * 60_000, b""), LEVEL_5)
            served = await dribble(slow, long_publish, node)
            assert 1.4 <= loop.time() - started < 10
            assert taken(shelf) == served > 0

    run(main())


def test_half_packets_leave_nothing_behind_and_are_shown() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf, tell_every_s=3600) as listener, client(listener) as node:
            for n in range(50):
                async with wire(listener) as half:
                    await half.say(encode(Connect("half"))[: 2 + n % 10])
                async with client(listener, Connect(f"half-{n}")) as half:
                    await half.say(encode(publish(1))[:-1])
                assert await node.ask(publish(n + 1)) == Puback(n + 1)
            while listener.counts.refused < 50:
                await node.ping()
            assert taken(shelf) == 50
            await listener.stop()
        what = "a connection from 127.0.0.1 was closed by its client within its first packet"
        assert shown(shelf) == [what, f"49 more like it; the last: {what}"]

    run(main())


@pytest.fixture
def many_files() -> Iterator[None]:
    """Room for both ends of 1,000 connections in this process."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = 4096 if hard == resource.RLIM_INFINITY else min(4096, hard)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, wanted), hard))
    yield
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@pytest.mark.usefixtures("many_files")
def test_a_thousand_silent_connections_keep_no_node_out() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf, tell_every_s=3600) as listener:
            async with client(listener) as node, AsyncExitStack() as crowd:

                async def serve() -> int:
                    served = 0
                    while listener.counts.connections < 1001:
                        served += 1
                        assert await node.ask(publish(served)) == Puback(served)
                    return served

                serving = asyncio.create_task(serve(), name="serving")
                await asyncio.gather(*(crowd.enter_async_context(wire(listener)) for _ in range(1000)))
                assert taken(shelf) == await serving > 0
                # It is full of those that say nothing: one of them has to go for each that comes.
                assert listener.counts.refused == 1001 - MAX_CONNECTIONS
                async with client(listener, Connect("late")) as late:
                    assert await late.ask(publish(1)) == Puback(1)
                assert await node.ask(publish(9)) == Puback(9)
            await listener.stop()
        what = "a connection from 127.0.0.1 was closed unheard: 512 are open, the most that are taken"
        assert shown(shelf)[0] == what
        assert f"{1001 - MAX_CONNECTIONS} more like it; the last: {what}" in shown(shelf)
        assert len(shown(shelf)) == 2

    run(main())


def test_wrong_passwords_at_speed_hold_up_nobody_who_is_in() -> None:
    may_go_on = threading.Event()

    def login(user_name: str, password: bytes, _address: str) -> bool:
        may_go_on.wait()  # a hash takes as long as it takes
        return (user_name, password) == ("node", b"reed")

    async def guess(listener: object, n: int) -> None:
        asked = Connect(f"g{n}", user_name="node", password=b"guess-%d" % n, level=4 + n % 2)
        async with wire(listener, asked.level) as guesser:  # type: ignore[arg-type]
            answer = await guesser.ask(asked)
            assert isinstance(answer, Connack)
            assert answer.code == (0x86 if asked.level == LEVEL_5 else 0x04)
            assert await guesser.hear() is None

    async def main() -> None:
        shelf = Shelf()
        right = Connect("n1", user_name="node", password=b"reed")
        async with listening(shelf, login, tell_every_s=3600) as listener:
            may_go_on.set()
            async with client(listener, right) as node:
                may_go_on.clear()
                async with asyncio.TaskGroup() as guesses:
                    for n in range(300):
                        guesses.create_task(guess(listener, n), name=f"guess {n}")
                    while listener.counts.connections < 301:
                        await node.ping()
                    for n in range(1, 51):  # none of the guesses is answered yet
                        assert await node.ask(publish(n)) == Puback(n)
                    assert listener.counts.refused == 0
                    may_go_on.set()
                assert listener.counts.refused == 300
                async with client(listener, Connect("n2", user_name="node", password=b"reed")) as late:
                    assert await late.ask(Publish("slowcorner/shop/n2/senml", GOOD, 1, 1)) == Puback(1)
            await listener.stop()
        first, rest = shown(shelf)
        assert first.endswith(
            'user "node", from 127.0.0.1, was not let in: its user name or password is wrong'
        )
        assert rest.startswith("299 more like it; the last: MQTT client")
        assert taken(shelf) == 51

    run(main())


def test_what_is_turned_away_is_told_again_after_a_while_and_only_if_there_is_more() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf, tell_every_s=0.05) as listener:
            for _ in range(3):
                async with wire(listener) as stranger:
                    assert await stranger.ask(b"\x00\x00") is None
            await shelf.has(2)
            assert shown(shelf)[0].endswith("was closed before it was let in: packet type 0 is reserved")
            async with client(listener) as node:
                before = len(shown(shelf))
                loop = asyncio.get_running_loop()
                until = loop.time() + 0.2  # four times over
                while loop.time() < until:
                    await node.ping()
                assert len(shown(shelf)) == before
        assert sum(int(one.split()[0]) if "more like it" in one else 1 for one in shown(shelf)) == 3

    run(main())
