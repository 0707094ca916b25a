"""The listener with MQTT 5: its last word to a client, and the client's will.

The numbers are the sections of the OASIS standard of 7 March 2019.
"""

import logging
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.intake.encoder import encode
from sensors.intake.packets import (
    LEVEL_5,
    Auth,
    Connack,
    Connect,
    Disconnect,
    Packet,
    Puback,
    Publish,
    Subscribe,
    Will,
)
from sensors.intake.properties import Property
from tests.air.test_mqtt5_listener import why
from tests.air.test_mqtt5_packets import PACKETS
from tests.air.wire import GOOD, STATUS, TOPIC, Client, Shelf, client, listening, publish, run

NODE = Connect("n1", level=LEVEL_5)


async def last_words(node: Client) -> tuple[int, str]:
    """Code and reason of the DISCONNECT that must come next, and be the last."""
    said = await node.hear()
    assert isinstance(said, Disconnect)
    assert await node.hear() is None
    return said.code, why(said)


@pytest.mark.parametrize(
    ("packet", "code", "reason"),
    [
        (Publish(TOPIC, GOOD, 2, 2), 0x9B, "quality of service 2 is not taken: publish with 1"),
        (b"\x62\x02\x00\x01", 0x9B, "quality of service 2 is not taken: publish with 1"),
        (
            Publish("", GOOD, 1, 2, properties=((Property.TOPIC_ALIAS, 1),)),
            0x94,
            "PUBLISH has a topic alias, and none is known here",
        ),
        (
            Publish(TOPIC, GOOD, 1, 2, properties=((Property.SUBSCRIPTION_IDENTIFIER, 1),)),
            0x82,
            "PUBLISH has a subscription identifier, which is not for a client to send",
        ),
        (
            Subscribe(2, (("a", 0),), ((Property.SUBSCRIPTION_IDENTIFIER, 1),)),
            0xA1,
            "SUBSCRIBE has a subscription identifier, and none is known here",
        ),
        (
            Subscribe(2, (("$share/a/b", 0),)),
            0x9E,
            "SUBSCRIBE asks for a shared subscription, and there are none here",
        ),
        (Auth(0x19), 0x82, "AUTH is not for a client to send here"),
        (NODE, 0x82, "CONNECT is not for a client to send here"),
        (Connect("n1"), 0x82, "CONNECT is not for a client to send here"),
        (Disconnect(0x8B), 0x82, "DISCONNECT has reason code 0x8b, which is not for a client to send"),
        (
            Disconnect(0, ((Property.SESSION_EXPIRY_INTERVAL, 60),)),
            0x82,
            "DISCONNECT asks for a session to be kept and CONNECT did not",
        ),
        (b"\xf1\x00", 0x81, "AUTH has reserved flags 0x1"),
        (b"\x00\x00", 0x81, "packet type 0 is reserved"),
    ],
)
def test_a_breach_ends_the_connection_with_its_reason(packet: Packet | bytes, code: int, reason: str) -> None:
    # 3.14.2.1, 4.13; what came before it stands, and nothing follows the last word (3.14.4)
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, NODE) as node:
            await node.say(publish(1), packet)
            assert await node.hear() == Puback(1)
            assert await last_words(node) == (code, reason)
            messages = await shelf.has(2)
            assert [one.reason for one in messages[1].rejected] == [f"{reason}; the connection was closed"]
            assert listener.counts.breaches == 1

    run(main())


def test_the_last_word_waits_for_what_is_still_being_stored() -> None:
    async def main() -> None:
        shelf = Shelf()
        shelf.holding = True
        async with (
            listening(shelf) as listener,
            client(listener, NODE) as node,
            client(listener, Connect("b")) as other,
        ):
            await node.say(publish(1), Auth())
            await shelf.has(2)
            for _ in range(50):
                await other.ping()  # the listener has had its turn many times over
            shelf.let_go()
            assert await node.hear() == Puback(1)
            assert (await last_words(node))[0] == 0x82

    run(main())


def test_ten_megabytes_are_answered_with_the_limit() -> None:
    # 3.2.2.3.6; a client that sends all of it first and only then listens hears it
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, NODE) as node:
            await node.say(publish(1, b" " * 10_000_000))
            code, reason = await last_words(node)
            assert code == 0x95
            assert reason.endswith("is over the limit of 65536 bytes")
            assert listener.counts.too_large == 1

    run(main())


def test_the_last_word_where_the_client_did_nothing_wrong() -> None:
    # 3.1.4: taken over; 4.13: the store fails; 3.14.2.1: stopping
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            async with client(listener, NODE) as former, client(listener, NODE) as newcomer:
                taken_over = "another connection came by the same client identifier"
                assert await last_words(former) == (0x8E, taken_over)
                shelf.error = OSError(28, "No space left on device")
                await newcomer.say(publish(1))
                not_stored = "what was published could not be stored: send it again"
                assert await last_words(newcomer) == (0x89, not_stored)
            async with client(listener, NODE) as node:
                await node.ping()
                await listener.stop()
                assert await last_words(node) == (0x8B, "the service is stopping")

    run(main())


def test_silence_past_the_keep_alive_is_told() -> None:
    # 3.1.2.10, here one and a half times a keep-alive of 1 s
    async def main() -> None:
        connect = Connect("n1", True, 1, level=LEVEL_5)
        async with listening(Shelf()) as listener, client(listener, connect) as node:
            assert await last_words(node) == (0x8D, "silent for 1.5 s")

    run(main())


@pytest.mark.parametrize(
    ("leave", "said"),
    [
        (Disconnect(), False),
        (Disconnect(0x04), True),
        (Disconnect(0x80), True),  # 3.14.4: only 0x00 makes it void
        (None, True),
    ],
)
def test_the_will_is_said_at_once_unless_all_is_well(leave: Disconnect | None, said: bool) -> None:
    # 3.1.3.2.2: a delay lasts until the session ends at the latest, and it ends with the connection here
    async def main() -> None:
        shelf = Shelf()
        will = Will(STATUS, b"offline", 1, True, ((Property.WILL_DELAY_INTERVAL, 3600),))
        connect = Connect("n1", will=will, level=LEVEL_5)
        async with listening(shelf) as listener, client(listener, connect) as node:
            await node.say(publish(1))
            assert await node.hear() == Puback(1)
            if leave is None:
                node.vanish()
            else:
                assert await node.ask(leave) is None
            if said:
                await shelf.has(2)
            assert shelf.said() == ["temperature 21.5"] + ["offline"] * said

    run(main())


class Catcher(logging.Handler):
    """Keeps what is logged."""

    def __init__(self, level: int) -> None:
        super().__init__(level)
        self.records: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.records.append(record.getMessage())


@settings(deadline=None, max_examples=60)
@given(st.lists(PACKETS.map(lambda packet: encode(packet, LEVEL_5)) | st.binary(max_size=60), max_size=6))
def test_whatever_a_client_says_it_is_answered_or_cut_off_and_others_are_served(said: list[bytes]) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with (
            listening(shelf) as listener,
            client(listener, Connect("b")) as other,
            client(listener, NODE) as node,
        ):
            with suppress(ConnectionError):
                await node.say(*said)
                node.writer.write_eof()
            while (answer := await node.hear()) is not None:
                assert not isinstance(answer, Connect | Publish | Connack)
                if isinstance(answer, Disconnect):
                    assert answer.code >= 0x80
                    assert await node.hear() is None
                    break
            assert await other.ask(publish(1)) == Puback(1)

    catcher = Catcher(logging.ERROR)
    logging.getLogger("slowcorner.mqtt").addHandler(catcher)
    try:
        run(main())
    finally:
        logging.getLogger("slowcorner.mqtt").removeHandler(catcher)
    assert catcher.records == []


def test_3_1_1_hears_none_of_it() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener) as former, client(listener) as node:
            assert await former.hear() is None  # taken over without a word
            assert await node.ask(publish(1, b"nonsense")) == Puback(1)
            await node.say(b"\xf0\x00")
            assert await node.hear() is None

    run(main())
