"""The listener: bad payloads are kept out and acknowledged; status and buttons are handed over.

The rules are those of MQTT 3.1.1; the section is named beside each.
"""

import asyncio
import json
import math

import pytest

from sensors.intake.packets import (
    Connect,
    Puback,
    Publish,
)
from tests.air.wire import NOW, STATUS, TOPIC, Shelf, client, listening, publish, run


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"21.5 degrees", "not JSON: Extra data: line 1 column 6 (char 5)"),
        (b'{"temperature": 21.5}', "not SenML: a pack is a list of records"),
        (
            json.dumps([{"n": "temperature", "u": "Cel", "v": 20, "t": NOW / 1000 + 3600}]).encode(),
            "record 1: time 1772434800 s is 60 min ahead of the clock; at most 5 min is taken",
        ),
        (
            json.dumps([{"n": "temperature", "u": "degF", "v": 70}]).encode(),
            'record 1: temperature has unit "degF"; it must be Cel',
        ),
        (
            json.dumps([{"n": "temperature", "u": "Cel", "v": math.nan}]).encode(),
            'record 1: "temperature": value NaN is not a finite number',
        ),
        (b"", "the payload is empty"),
    ],
)
def test_a_bad_payload_is_kept_out_and_acknowledged_and_the_connection_goes_on(
    payload: bytes, reason: str
) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            assert await node.ask(publish(1, payload)) == Puback(1)
            assert await node.ask(publish(2)) == Puback(2)
            assert shelf.said() == [reason, "temperature 21.5"]
            (rejected,) = shelf.messages[0].rejected
            assert (rejected.source, rejected.arrived) == (TOPIC, NOW)
            assert rejected.payload.strip(b"[]") == payload.strip(b"[]")  # the record, or the whole payload
            assert listener.counts.rejected == 1

    run(main())


def test_a_topic_that_is_not_ours_is_kept_out_with_its_payload() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            assert await node.ask(publish(1, b"hello", "weather/today")) == Puback(1)
            (rejected,) = shelf.messages[0].rejected
            assert rejected.payload == b"hello"
            assert 'topic "weather/today" is not of the form' in rejected.reason

    run(main())


def test_ten_megabytes_end_the_connection_and_are_told_of() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, Connect("b")) as other:
            async with client(listener) as node:
                flood = asyncio.create_task(node.say(publish(1, b" " * 10_000_000)), name="flood")
                assert await node.hear() is None
                await asyncio.wait((flood,))
                assert flood.exception() is None or isinstance(flood.exception(), ConnectionError)
            (message,) = await shelf.has(1)
            (rejected,) = message.rejected
            assert rejected.source == 'MQTT client "n1"'
            assert rejected.payload == b""
            assert "PUBLISH of 10000033 bytes is over the limit of 65536 bytes" in rejected.reason
            assert (listener.counts.too_large, listener.counts.breaches) == (1, 1)
            assert await other.ask(publish(1)) == Puback(1)

    run(main())


def test_status_is_handed_over_and_a_retained_nothing_says_nothing() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            for packet_id, payload in enumerate((b"online", b"", b"asleep", b"offline"), start=1):
                assert await node.ask(Publish(STATUS, payload, 1, packet_id, retain=True)) == Puback(
                    packet_id
                )
            assert shelf.said() == ["online", 'status "asleep" is neither "online" nor "offline"', "offline"]
            assert await node.ask(Publish(STATUS, b"", 1, 9)) == Puback(9)
            assert shelf.said()[-1] == 'status "" is neither "online" nor "offline"'

    run(main())


@pytest.mark.parametrize("taken", [True, False])
def test_a_press_is_handed_over_or_kept_as_said(taken: bool) -> None:
    async def main() -> None:
        shelf = Shelf()
        payload = b'{"hook": "A3", "id": "1"}'
        async with listening(shelf, takes_presses=taken) as listener, client(listener) as node:
            assert await node.ask(publish(1, payload, "slowcorner/shop/button/dipped")) == Puback(1)
            (message,) = shelf.messages
            if taken:
                assert [(press.hook, press.id, press.time) for press in message.presses] == [("A3", "1", NOW)]
            else:
                (rejected,) = message.rejected
                assert 'buttons are not taken yet: log the dip of hook "A3" on the page' in rejected.reason
                assert rejected.payload == payload

    run(main())
