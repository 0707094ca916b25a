"""The listener, packet by packet: what is acknowledged and when, what is refused, and how connections end.

The rules are those of MQTT 3.1.1; the section is named beside each.
"""

import asyncio
import json
import logging
import math
import threading

import pytest

from sensors.intake import listener as listener_module
from sensors.intake.decoder import REFUSED_LEVEL_5
from sensors.intake.encoder import encode
from sensors.intake.packets import (
    Connack,
    Connect,
    Disconnect,
    Packet,
    Puback,
    Publish,
    Suback,
    Subscribe,
    Unsuback,
    Unsubscribe,
    Will,
)
from sensors.intake.session import IN_FLIGHT_LIMIT, MESSAGE_OVERHEAD
from tests.air.wire import GOOD, NOW, STATUS, TOPIC, Client, Shelf, client, listening, publish, run, wire

WILL = Will(STATUS, b"offline", 1, True)


# -- what is acknowledged


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


# -- bad payloads: kept out, acknowledged, and the connection goes on


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


# -- status and buttons


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


# -- what is answered and what ends a connection


def test_subscriptions_are_refused_and_taken_back() -> None:
    # 3.8.4, 3.9.3: one code a filter, 0x80 for a refusal; 3.10.4: an UNSUBSCRIBE is always answered
    async def main() -> None:
        async with listening(Shelf()) as listener, client(listener) as node:
            wanted = Subscribe(4, (("slowcorner/#", 1), ("a", 0)))
            assert await node.ask(wanted) == Suback(4, (0x80, 0x80))
            assert await node.ask(Unsubscribe(5, ("a",))) == Unsuback(5)
            assert await node.ask(publish(1)) == Puback(1)

    run(main())


@pytest.mark.parametrize(
    ("packet", "reason"),
    [
        (Publish(TOPIC, GOOD, 2, 1), "quality of service 2 is not taken: publish with 1"),
        (Connect("n1"), "CONNECT is not for a client to send here"),  # 3.1: a second CONNECT
        (Puback(3), "PUBACK is not for a client to send here"),
        (b"\xf0\x00", "packet type 15 is reserved"),
        (b"\x30\x03\x00\x01#", "PUBLISH: its topic is empty or has a wildcard"),
    ],
)
def test_a_breach_ends_the_connection_and_is_told_of(packet: Packet | bytes, reason: str) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as node:
            await node.say(publish(1), packet)
            assert await node.hear() == Puback(1)  # what came before it stands
            assert await node.hear() is None
            messages = await shelf.has(2)
            assert [rejected.reason for rejected in messages[1].rejected] == [
                f"{reason}; the connection was closed"
            ]
            assert listener.counts.breaches == 1

    run(main())


@pytest.mark.parametrize(
    "first", [encode(publish(1)), b"GET / HTTP/1.1\r\n\r\n", encode(Disconnect()), b"\x16\x03\x01"]
)
def test_connect_must_come_first(first: bytes) -> None:
    # 3.1
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, wire(listener) as node:
            assert await node.ask(first) is None
            assert shelf.messages == []
            assert (listener.counts.refused, listener.counts.breaches) == (1, 1)

    run(main())


@pytest.mark.parametrize("begun", [b"", encode(Connect("n1"))[:-1]])
def test_connect_must_come_soon(begun: bytes) -> None:
    async def main() -> None:
        async with listening(Shelf(), connect_wait_s=0.05) as listener, wire(listener) as node:
            assert await node.ask(begun) is None
            assert listener.counts.refused == 1

    run(main())


def test_mqtt_5_is_refused_in_its_own_form() -> None:
    # MQTT 5, 3.2.2.2: reason 0x84
    async def main() -> None:
        async with listening(Shelf()) as listener, wire(listener) as node:
            await node.say(bytes.fromhex("10 0d 00044d515454 05 02 003c 00 0000"))
            assert await node.reader.read() == REFUSED_LEVEL_5

    run(main())


def test_one_connection_too_many_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            async with client(listener), wire(listener) as other:
                assert await other.ask(Connect("b")) is None
            assert listener.counts.refused == 1

    monkeypatch.setattr(listener_module, "MAX_CONNECTIONS", 1)
    run(main())


# -- last wills


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


# -- user name and password


@pytest.mark.parametrize(
    ("connect", "code"),
    [
        (Connect("n1", user_name="node", password=b"reed"), 0x00),
        (Connect("n1", user_name="node", password=b"sedge"), 0x04),
        (Connect("n1", user_name="other", password=b"reed"), 0x04),
        (Connect("n1", user_name="node"), 0x05),
        (Connect("n1"), 0x05),
        (Connect("n1", user_name="broken", password=b"reed"), 0x03),
    ],
)
def test_a_login_is_asked_for(connect: Connect, code: int) -> None:
    # 3.2.2.3: 4 bad user name or password, 5 not authorised, 3 server unavailable
    threads: set[threading.Thread] = set()

    def login(user_name: str, password: bytes) -> bool:
        threads.add(threading.current_thread())
        if user_name == "broken":
            raise OSError("the password file cannot be read")
        return (user_name, password) == ("node", b"reed")

    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf, login) as listener, wire(listener) as node:
            assert await node.ask(connect) == Connack(code)
            if code:
                assert await node.hear() is None
            else:
                assert await node.ask(publish(1)) == Puback(1)
            assert listener.counts.refused == (code != 0)

    run(main())
    assert threading.current_thread() not in threads


# -- stopping


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
