"""The listener: what is acknowledged and when, and how it stops.

The rules are those of MQTT 3.1.1; the section is named beside each.
"""

import asyncio
import logging

import pytest

from sensors.intake.packets import (
    Connect,
    Puback,
    Publish,
    Will,
)
from sensors.intake.unsettled import IN_FLIGHT_LIMIT, MESSAGE_OVERHEAD
from tests.air.wire import GOOD, NOW, STATUS, TOPIC, Shelf, client, listening, publish, run, wire

WILL = Will(STATUS, b"offline", 1, True)


def test_what_is_published_reaches_the_sink_and_is_acknowledged() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            assert await node.ask(publish(7)) == Puback(7)
            (message,) = shelf.messages
            assert [(r.place, r.node, r.value, r.time) for r in message.readings] == [
                ("shop", "n1", 21.5, NOW)
            ]
            assert listener.counts.messages == 1

    run(main())


def test_quality_0_reaches_the_sink_without_an_acknowledgement() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            await node.say(Publish(TOPIC, GOOD))
            await node.ping()
            assert shelf.said() == ["temperature 21.5"]

    run(main())


def test_no_acknowledgement_before_it_is_stored_and_then_in_order() -> None:
    # 4.6: acknowledgements go in the order the messages came, here whichever is stored first
    async def main() -> None:
        shelf = Shelf()
        shelf.holding = True
        async with listening(shelf) as listener, client(listener) as node:
            await node.say(*(publish(packet_id) for packet_id in (5, 3, 9)))
            await shelf.has(3)
            await node.ping()  # would have come after an acknowledgement
            shelf.held[1].set_result(None)
            shelf.held[2].set_result(None)
            await node.ping()
            shelf.held[0].set_result(None)
            assert [await node.hear() for _ in range(3)] == [Puback(5), Puback(3), Puback(9)]

    run(main())


def test_a_duplicate_is_handed_over_and_acknowledged_again() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            assert await node.ask(publish(7)) == Puback(7)
            assert await node.ask(Publish(TOPIC, GOOD, 1, 7, dup=True)) == Puback(7)
            assert shelf.said() == ["temperature 21.5"] * 2

    run(main())


def test_a_client_that_runs_ahead_of_the_store_is_made_to_wait() -> None:
    async def main() -> None:
        shelf = Shelf()
        shelf.holding = True
        payload = GOOD.ljust(20_000)
        fits = IN_FLIGHT_LIMIT // (len(payload) + MESSAGE_OVERHEAD) + 1  # the one that fills it is taken
        async with (
            listening(shelf) as listener,
            client(listener) as node,
            client(listener, Connect("b")) as other,
        ):
            flood = asyncio.create_task(node.say(*(publish(n, payload) for n in range(1, 301))), name="flood")
            await shelf.has(fits)
            for _ in range(200):  # the listener has had its turn many times over
                await other.ping()
            assert len(shelf.messages) == fits
            shelf.let_go()
            assert [await node.hear() for _ in range(300)] == [Puback(n) for n in range(1, 301)]
            await flood

    run(main())


def test_when_the_sink_fails_nothing_is_acknowledged_and_the_client_comes_again(
    caplog: pytest.LogCaptureFixture,
) -> None:
    async def main() -> None:
        shelf = Shelf()
        shelf.error = OSError(28, "No space left on device")
        async with listening(shelf) as listener:
            for _ in range(2):
                async with client(listener) as node:
                    assert await node.ask(publish(7)) is None
            shelf.error = None
            async with client(listener) as node:
                assert await node.ask(Publish(TOPIC, GOOD, 1, 7, dup=True)) == Puback(7)
            assert shelf.said() == ["temperature 21.5"]
            assert listener.counts.not_stored == 2

    with caplog.at_level(logging.INFO, "slowcorner.mqtt"):
        run(main())
    assert [record.getMessage() for record in caplog.records] == [
        "Readings cannot be stored and are not acknowledged until they can: "
        "[Errno 28] No space left on device",
        "Readings are stored again",
    ]


def test_what_was_stored_before_a_failure_is_still_acknowledged() -> None:
    async def main() -> None:
        shelf = Shelf()
        shelf.holding = True
        async with listening(shelf) as listener, client(listener) as node:
            await node.say(publish(1), publish(2), publish(3))
            await shelf.has(3)
            shelf.held[2].set_result(None)
            shelf.held[1].set_exception(OSError("disk"))
            shelf.held[0].set_result(None)
            assert [await node.hear() for _ in range(2)] == [Puback(1), None]

    run(main())


def test_stopping_ends_every_connection_says_no_wills_and_leaves_nothing_running() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            async with client(listener, Connect("a", will=WILL)) as one, wire(listener) as two:
                await one.ping()
                await listener.stop()
                assert await one.hear() is None
                assert await two.hear() is None
            await listener.stop()  # and once more does no harm
            with pytest.raises(RuntimeError, match="not started"):
                _ = listener.address
            await listener.start()
            async with client(listener) as node:
                assert await node.ask(publish(1)) == Puback(1)
        assert shelf.said() == ["temperature 21.5"]

    run(main())


def test_stopping_waits_for_what_is_being_stored() -> None:
    async def main() -> None:
        shelf = Shelf()
        shelf.holding = True
        async with listening(shelf) as listener, client(listener) as node:
            await node.say(publish(1))
            await shelf.has(1)
            stopping = asyncio.create_task(listener.stop(), name="stop")
            assert await node.hear() is None
            for _ in range(100):  # it has had its turn many times over
                await asyncio.sleep(0)
            assert not stopping.done()
            assert not shelf.held[0].cancelled()
            shelf.let_go()
            await stopping

    run(main())
