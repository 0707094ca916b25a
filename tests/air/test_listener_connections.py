"""The listener: what it answers, whom it lets in, and what ends a connection.

The rules are those of MQTT 3.1.1; the section is named beside each.
"""

import threading

import pytest

from sensors.intake import listener as listener_module
from sensors.intake.bodies import REFUSED_LATER_LEVEL
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
from sensors.intake.topic_rules import allows
from tests.air.wire import GOOD, TOPIC, Shelf, client, listening, publish, run, wire


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
            (told,) = (await shelf.has(1))[0].rejected
            assert told.source == "MQTT listener"
            assert told.reason.startswith("a connection from 127.0.0.1 was closed before it was let in: ")
            assert (listener.counts.refused, listener.counts.breaches) == (1, 1)

    run(main())


@pytest.mark.parametrize("begun", [b"", encode(Connect("n1"))[:-1]])
def test_connect_must_come_soon(begun: bytes) -> None:
    async def main() -> None:
        async with listening(Shelf(), connect_wait_s=0.05) as listener, wire(listener) as node:
            assert await node.ask(begun) is None
            assert listener.counts.refused == 1

    run(main())


def test_what_comes_after_mqtt_5_is_refused_in_that_form() -> None:
    # MQTT 5, 3.2.2.2: reason 0x84
    async def main() -> None:
        async with listening(Shelf()) as listener, wire(listener) as node:
            await node.say(bytes.fromhex("10 0d 00044d515454 06 02 003c 00 0000"))
            assert await node.reader.read() == REFUSED_LATER_LEVEL

    run(main())


def test_one_connection_too_many_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            async with client(listener), wire(listener) as other:
                assert await other.ask(Connect("b")) is None
            assert listener.counts.refused == 1

    monkeypatch.setattr(listener_module, "MAX_CONNECTIONS", 1)
    run(main())


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

    def login(user_name: str, password: bytes, _address: str) -> bool:
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


def test_a_topic_of_another_is_kept_out_with_its_reason_and_acknowledged() -> None:
    # 3.3.5.2: a PUBLISH that is not authorised is acknowledged all the same, or its connection is closed
    async def main() -> None:
        shelf = Shelf()
        options = {"may_publish": lambda user, topic: allows(["slowcorner/+/%u/senml"], user, topic)}
        async with listening(shelf, lambda *_: True, **options) as listener, wire(listener) as node:
            assert await node.ask(Connect("c", user_name="n2", password=b"reed")) == Connack(0x00)
            assert await node.ask(publish(1)) == Puback(1)
            assert listener.counts.rejected == 1
            own = Publish(TOPIC.replace("n1", "n2"), GOOD, 1, 2)
            assert await node.ask(own) == Puback(2)
            assert listener.counts.rejected == 1
        kept_out, taken = shelf.messages
        assert [one.source for one in kept_out.rejected] == [TOPIC]
        assert kept_out.rejected[0].reason == 'user "n2" may not publish under this topic'
        assert not kept_out.readings
        assert taken.readings
        assert not taken.rejected

    run(main())


@pytest.mark.parametrize(("topic", "code"), [("slowcorner/shop/n2/status", 0x00), (TOPIC, 0x05)])
def test_a_client_with_a_will_for_another_is_not_let_in(topic: str, code: int) -> None:
    async def main() -> None:
        options = {"may_publish": lambda user, topic: allows(["slowcorner/+/%u/status"], user, topic)}
        async with listening(Shelf(), lambda *_: True, **options) as listener, wire(listener) as node:
            will = Will(topic, b"offline")
            asked = Connect("c", user_name="n2", password=b"reed", will=will)
            assert await node.ask(asked) == Connack(code)

    run(main())
