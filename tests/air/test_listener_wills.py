"""The listener: when a client's last will is said, and when it is void.

The rules are those of MQTT 3.1.1; the section is named beside each.
"""

import asyncio

import pytest

from sensors.intake.encoder import encode
from sensors.intake.packets import (
    Connect,
    Disconnect,
    Puback,
    Publish,
    Will,
)
from tests.air.wire import GOOD, STATUS, TOPIC, Client, Shelf, client, listening, publish, run

WILL = Will(STATUS, b"offline", 1, True)


async def _has_left(node: Client, how: str) -> None:
    if how == "vanishes":
        node.vanish()
    elif how == "closes without a word":
        node.writer.close()
    elif how == "in the middle of a packet":
        await node.say(encode(publish(1))[:-1])
        node.vanish()
    elif how == "breaks the protocol":
        await node.say(b"\xf0\x00")
    elif how == "stays silent":
        assert await node.hear() is None


@pytest.mark.parametrize(
    "how",
    ["vanishes", "closes without a word", "in the middle of a packet", "breaks the protocol", "stays silent"],
)
def test_the_will_is_said_when_a_client(how: str) -> None:
    # 3.1.2.5; silence: 3.1.2.10, here one and a half times a keep-alive of 1 s
    async def main() -> None:
        shelf = Shelf()
        keep_alive_s = 1 if how == "stays silent" else 0
        async with (
            listening(shelf) as listener,
            client(listener, Connect("n1", True, keep_alive_s, will=WILL)) as node,
        ):
            loop = asyncio.get_running_loop()
            started = loop.time()
            await _has_left(node, how)
            await shelf.has(2 if how == "breaks the protocol" else 1)
            assert shelf.said()[-1] == "offline"
            assert shelf.messages[-1].readings == ()
            if how == "stays silent":
                assert 1.4 <= loop.time() - started < 5

    run(main())


def test_a_client_that_pings_is_kept_past_its_keep_alive() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, Connect("n1", True, 1, will=WILL)) as node:
            loop = asyncio.get_running_loop()
            until = loop.time() + 2.0
            while loop.time() < until:
                await node.ping()
                try:
                    async with asyncio.timeout(0.5):
                        assert await node.hear() is not None
                except TimeoutError:
                    pass  # nothing came, as it should be
            assert await node.ask(publish(1)) == Puback(1)
            assert shelf.said() == ["temperature 21.5"]

    run(main())


def test_the_will_is_void_after_a_disconnect() -> None:
    # 3.14.4
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, Connect("n1", will=WILL)) as node:
            await node.say(Publish(TOPIC, GOOD), Disconnect())
            assert await node.hear() is None
            assert shelf.said() == ["temperature 21.5"]

    run(main())


def test_a_newcomer_of_the_same_name_takes_over() -> None:
    # 3.1.4: the former connection is closed; its will comes before anything the newcomer says
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, Connect("n1", will=WILL)) as former:
            await former.ping()
            async with client(listener, Connect("n1", will=WILL)) as newcomer:
                assert await former.hear() is None
                assert await newcomer.ask(publish(1, b"online", STATUS)) == Puback(1)
                assert shelf.said() == ["offline", "online"]

    run(main())


def test_a_newcomer_does_not_undo_what_the_former_had_said() -> None:
    async def main() -> None:
        shelf = Shelf()
        shelf.holding = True
        async with listening(shelf) as listener, client(listener) as former:
            await former.say(publish(1))
            await shelf.has(1)
            async with client(listener) as newcomer:
                assert await former.hear() is None
                assert not shelf.held[0].cancelled()
                shelf.let_go()
                assert await newcomer.ask(publish(1)) == Puback(1)

    run(main())
