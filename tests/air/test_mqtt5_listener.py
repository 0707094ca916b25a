"""The listener with MQTT 5: whom it lets in, what it announces, what it answers and with which reason.

The numbers are the sections of the OASIS standard of 7 March 2019.
"""

import pytest

from sensors.intake.decoder import MAX_PACKET
from sensors.intake.encoder import encode
from sensors.intake.packets import (
    LEVEL_5,
    Connack,
    Connect,
    Disconnect,
    Packet,
    Pingreq,
    Pingresp,
    Puback,
    Publish,
    Suback,
    Subscribe,
    Unsuback,
    Unsubscribe,
    Will,
)
from sensors.intake.properties import Properties, Property, value
from sensors.intake.topic_rules import allows
from tests.air.wire import GOOD, STATUS, TOPIC, Shelf, client, listening, publish, run, wire

NODE = Connect("n1", level=LEVEL_5)
WILL = Will(STATUS, b"offline", 1, True)
ANNOUNCED: Properties = (
    (Property.MAXIMUM_QOS, 1),
    (Property.MAXIMUM_PACKET_SIZE, MAX_PACKET),
    (Property.SUBSCRIPTION_IDENTIFIER_AVAILABLE, 0),
    (Property.SHARED_SUBSCRIPTION_AVAILABLE, 0),
)


def why(packet: Packet | None) -> str:
    """The reason string of an answer."""
    assert isinstance(packet, Connack | Puback | Suback | Disconnect)
    said = value(packet.properties, Property.REASON_STRING)
    assert isinstance(said, str)
    return said


# -- letting in


def test_the_connack_says_what_is_taken() -> None:
    # 3.2.2.3; absent: topic alias maximum (0), receive maximum (65535), retain and wildcards available (1)
    async def main() -> None:
        async with listening(Shelf()) as listener, wire(listener, LEVEL_5) as node:
            assert await node.ask(NODE) == Connack(0, properties=ANNOUNCED)

    run(main())


def test_a_session_is_not_kept_and_a_client_without_a_name_is_given_one() -> None:
    # 3.2.2.3.2, 3.2.2.3.7
    async def main() -> None:
        async with listening(Shelf()) as listener:
            names = set()
            asked = Connect("", False, level=LEVEL_5, properties=((Property.SESSION_EXPIRY_INTERVAL, 600),))
            async with wire(listener, LEVEL_5) as one, wire(listener, LEVEL_5) as other:
                for node in (one, other):
                    answer = await node.ask(asked)
                    assert isinstance(answer, Connack)
                    assert (answer.code, answer.session_present) == (0, False)
                    assert value(answer.properties, Property.SESSION_EXPIRY_INTERVAL) == 0
                    names.add(value(answer.properties, Property.ASSIGNED_CLIENT_IDENTIFIER))
                await one.ping()  # the second did not take over the first
            assert len(names) == 2
            assert all(names)

    run(main())


@pytest.mark.parametrize(
    ("connect", "code"),
    [
        (Connect("n1", user_name="n2", password=b"reed", level=LEVEL_5), 0x00),
        (Connect("n1", user_name="n2", password=b"sedge", level=LEVEL_5), 0x86),
        (Connect("n1", level=LEVEL_5), 0x87),
        (Connect("n1", password=b"reed", level=LEVEL_5), 0x87),
        (Connect("n1", user_name="broken", password=b"reed", level=LEVEL_5), 0x88),
        (Connect("n1", user_name="n2", password=b"reed", will=WILL, level=LEVEL_5), 0x87),
        # 3.2.2.3.4: a will of quality 2; 4.12: an authentication method nobody knows
        (Connect("n1", will=Will(STATUS, b"", 2), level=LEVEL_5), 0x9B),
        (Connect("n1", level=LEVEL_5, properties=((Property.AUTHENTICATION_METHOD, "x"),)), 0x8C),
    ],
)
def test_who_is_not_let_in_is_told_why(connect: Connect, code: int) -> None:
    def login(user_name: str, password: bytes, _address: str) -> bool:
        if user_name == "broken":
            raise OSError("the password file cannot be read")
        return (user_name, password) == ("n2", b"reed")

    async def main() -> None:
        shelf = Shelf()
        options = {"may_publish": lambda user, topic: allows(["slowcorner/+/%u/status"], user, topic)}
        async with listening(shelf, login, **options) as listener, wire(listener, LEVEL_5) as node:
            answer = await node.ask(connect)
            assert isinstance(answer, Connack)
            assert answer.code == code
            if code:
                assert await node.hear() is None
                assert [one.source for one in (await shelf.has(1))[0].rejected] == ["MQTT listener"]
            assert listener.counts.refused == (code != 0)

    run(main())


@pytest.mark.parametrize(
    ("data", "code", "reason"),
    [
        ("10 10 00044d515454 05 02 0000 03 21 0000 0000", 0x82, "CONNECT has receive maximum 0"),
        ("10 0f 00044d515454 05 02 0000 02 7f 00 0000", 0x81, "CONNECT has a property 0x7f"),
        ("10 0d 00044d515454 05 03 0000 00 0000", 0x81, "CONNECT has its reserved flag set"),
    ],
)
def test_a_connect_that_cannot_be_read_is_answered_with_its_reason(data: str, code: int, reason: str) -> None:
    # 3.1.4, 4.13
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, wire(listener, LEVEL_5) as node:
            answer = await node.ask(bytes.fromhex(data))
            assert isinstance(answer, Connack)
            assert answer.code == code
            assert reason in why(answer)
            assert await node.hear() is None
            assert reason in (await shelf.has(1))[0].rejected[0].reason

    run(main())


# -- messages


def test_what_is_stored_is_acknowledged_in_four_bytes() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener, client(listener, NODE) as node:
            said = (
                (Property.PAYLOAD_FORMAT_INDICATOR, 1),
                (Property.MESSAGE_EXPIRY_INTERVAL, 60),
                (Property.CONTENT_TYPE, "application/senml+json"),
                (Property.USER_PROPERTY, ("a", "b")),
            )
            await node.say(Publish(TOPIC, GOOD, 1, 7, properties=said))
            assert await node.reader.readexactly(4) == encode(Puback(7))
            await node.say(
                Publish(TOPIC, GOOD, retain=True), Pingreq()
            )  # retained is taken, and 0 not answered
            assert await node.hear() == Pingresp()
            assert shelf.said() == ["temperature 21.5"] * 2

    run(main())


ONE_BAD = b'[{"n":"temperature","u":"Cel","v":21.5},{"n":"temperature","u":"degF","v":70}]'
UTF_8 = ((Property.PAYLOAD_FORMAT_INDICATOR, 1),)


@pytest.mark.parametrize(
    ("message", "code", "reason"),
    [
        # 3.4.2.1: valid and not accepted; not the client's topic; a topic nothing is read under; and what was
        # said to be UTF-8 and is not, which alone is 0x99 (3.3.2.3.2)
        (Publish("slowcorner/shop/n2/senml", b"nonsense", 1, 1), 0x83, "not JSON: Expecting value"),
        (Publish("slowcorner/shop/n2/senml", b"\xff", 1, 1), 0x83, "not"),
        (Publish("slowcorner/shop/n2/senml", b"\xff", 1, 1, properties=UTF_8), 0x99, "not"),
        (Publish("slowcorner/shop/n2/status", b"asleep", 1, 1), 0x83, 'status "asleep" is neither'),
        # what is quoted of it fits into a string of MQTT (1.5.4)
        (Publish("slowcorner/shop/n2/status", b"\0\xff", 1, 1), 0x83, "status "),
        (Publish("slowcorner/shop/n2/senml", b'{"\\ud800\\u0000":1}' + b" " * 999, 1, 1), 0x83, "not SenML"),
        (Publish("slowcorner/shop/n2/senml", b'[{"n":"\\ud800\\u0000","v":1}]', 1, 1), 0x83, "record 1"),
        (Publish(TOPIC, GOOD, 1, 1), 0x87, 'user "n2" may not publish under this topic'),
        (Publish("weather/n2/today", GOOD, 1, 1), 0x90, 'topic "weather/n2/today" is not of the form'),
        (Publish("slowcorner/shop/n2/senml", ONE_BAD, 1, 1), 0x00, "1 record was kept out: record 2"),
    ],
)
def test_what_is_kept_out_is_acknowledged_with_its_reason(message: Publish, code: int, reason: str) -> None:
    async def main() -> None:
        shelf = Shelf()
        rules = ["slowcorner/+/%u/+", "weather/%u/today"]
        options = {"may_publish": lambda user, topic: allows(rules, user, topic)}
        connect = Connect("n1", user_name="n2", password=b"reed", level=LEVEL_5)
        async with (
            listening(shelf, lambda *_: True, **options) as listener,
            client(listener, connect) as node,
        ):
            answer = await node.ask(message)
            assert isinstance(answer, Puback)
            assert (answer.packet_id, answer.code) == (1, code)
            assert why(answer).startswith(reason)
            assert len(shelf.messages[0].rejected) == 1
            # and the connection goes on
            assert await node.ask(publish(2, GOOD, "slowcorner/shop/n2/senml")) == Puback(2)

    run(main())


@pytest.mark.parametrize(
    "asked",
    [
        ((Property.REQUEST_PROBLEM_INFORMATION, 0),),  # 3.1.2.11.7
        ((Property.MAXIMUM_PACKET_SIZE, 30),),  # 3.1.2.11.4, 3.4.2.2.2
    ],
)
def test_a_client_gets_no_reason_that_it_does_not_want_or_cannot_take(asked: Properties) -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            connect = Connect("n1", level=LEVEL_5, properties=asked)
            async with client(listener, connect) as node:
                assert await node.ask(publish(1, b"nonsense")) == Puback(1, 0x83)
                assert await node.ask(Subscribe(2, (("a", 0),))) == Suback(2, (0x87,))

    run(main())


def test_a_client_that_cannot_take_the_connack_gets_none() -> None:
    # 3.1.2.11.4: nothing is sent that is larger than it takes; a PUBACK still fits
    async def main() -> None:
        connect = Connect("n1", level=LEVEL_5, properties=((Property.MAXIMUM_PACKET_SIZE, 10),))
        async with listening(Shelf()) as listener, wire(listener, LEVEL_5) as node:
            await node.say(connect)
            assert await node.ask(publish(1)) == Puback(1)

    run(main())


def test_subscriptions_are_refused_one_by_one_and_cost_no_connection() -> None:
    # 3.9.3, 3.11.3; a wildcard too is refused for itself (3.2.2.3.11)
    async def main() -> None:
        async with listening(Shelf()) as listener, client(listener, NODE) as node:
            answer = await node.ask(Subscribe(4, (("slowcorner/#", 1), ("a", 0x2E))))
            assert isinstance(answer, Suback)
            assert (answer.packet_id, answer.codes) == (4, (0x87, 0x87))
            assert why(answer) == "nothing is given here: this listener only takes"
            assert await node.ask(Unsubscribe(5, ("a", "b"))) == Unsuback(5, (0x11, 0x11))
            await node.ping()

    run(main())
