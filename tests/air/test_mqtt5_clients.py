"""The listener with clients that others wrote, speaking MQTT 5: paho-mqtt, and Mosquitto's programs."""

import asyncio
import threading

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from sensors.intake.topic_rules import allows
from tests.air.test_listener_clients import Paho, login, mosquitto_pub, paho_client, told
from tests.air.wire import GOOD, PATIENCE_S, STATUS, TOPIC, Shelf, listening, run

V5 = MQTTProtocolVersion.MQTTv5


class Told:
    """What a paho client of MQTT 5 hears beside what `Paho` keeps: codes of PUBACK and of DISCONNECT."""

    def __init__(self, node: Paho) -> None:
        self.acknowledged: list[tuple[str, str]] = []
        self.gone: list[str] = []
        self.over = threading.Event()
        node.client.on_publish = self._on_publish
        node.client.on_disconnect = self._on_disconnect

    def _on_publish(
        self, _client: object, _data: object, _mid: int, code: ReasonCode, properties: Properties
    ) -> None:
        self.acknowledged.append((str(code), getattr(properties, "ReasonString", "")))

    def _on_disconnect(
        self, _client: object, _data: object, _flags: object, code: ReasonCode, _properties: object
    ) -> None:
        self.gone.append(str(code))
        self.over.set()


def test_paho_publishes_and_hears_why_something_was_kept_out() -> None:
    async def main() -> None:
        shelf = Shelf()
        options = {"may_publish": lambda user, topic: allows(["slowcorner/+/n1/+"], user, topic)}
        async with listening(shelf, login, **options) as listener:
            with paho_client(V5) as node:
                heard = Told(node)
                node.client.username_pw_set("node", "reed")
                await node.connect(listener)
                await node.publish(GOOD, 1)
                await node.publish(b"nonsense", 1)
                await node.publish(GOOD, 1, "slowcorner/shop/n2/senml")
                await node.publish(GOOD, 0)
                await shelf.has(4)
            assert node.codes == ["Success"]
            not_json = "not JSON: Expecting value: line 1 column 1 (char 0)"
            not_its_own = 'user "node" may not publish under this topic'
            assert heard.acknowledged[:3] == [
                ("Success", ""),
                ("Implementation specific error", not_json),
                ("Not authorized", not_its_own),
            ]
            assert shelf.said() == ["temperature 21.5", not_json, not_its_own, "temperature 21.5"]

    run(main())


def test_paho_with_a_long_backlog_is_made_to_wait_and_loses_no_connection() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client(V5) as node:
                node.client.max_inflight_messages_set(5000)
                await node.connect(listener)
                packs = [b'[{"n":"battery","u":"V","v":3.%04d}]' % n for n in range(3000)]
                sent = [node.client.publish(TOPIC, pack, 1) for pack in packs]
                for one in sent:
                    await asyncio.to_thread(one.wait_for_publish, PATIENCE_S)
                assert all(one.is_published() for one in sent)
            assert listener.counts.breaches == 0
            assert shelf.said() == [f"battery {float(f'3.{n:04d}'):g}" for n in range(3000)]

    run(main())


@pytest.mark.parametrize("code", [0x00, 0x04])
def test_pahos_will_with_a_delay_is_said_where_it_should_be(code: int) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client(V5) as node:
                delay = Properties(PacketTypes.WILLMESSAGE)  # type: ignore[no-untyped-call]
                delay.WillDelayInterval = 3600
                node.client.will_set(STATUS, b"offline", 1, retain=True, properties=delay)
                await node.connect(listener)
                await node.publish(b"online", 1, STATUS, retain=True)
                node.client.disconnect(ReasonCode(PacketTypes.DISCONNECT, identifier=code))
                await told(node.disconnected)
                if code:
                    await shelf.has(2)
            assert shelf.said() == ["online", "offline"][: 1 + (code != 0)]

    run(main())


def test_paho_with_a_wrong_password_is_told_so() -> None:
    async def main() -> None:
        async with listening(Shelf(), login) as listener:
            with paho_client(V5) as node:
                node.client.username_pw_set("node", "sedge")
                await node.connect(listener)
                await told(node.disconnected)
            assert set(node.codes) == {"Bad user name or password"}

    run(main())


def test_pahos_subscription_is_refused_and_its_connection_goes_on() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client(V5) as node:
                await node.connect(listener)
                node.client.subscribe("slowcorner/#", 1)
                await told(node.subscribed)
                await node.publish(GOOD)
            assert node.granted == ["Not authorized"]
            assert shelf.said() == ["temperature 21.5"]

    run(main())


@pytest.mark.parametrize(
    ("payload", "qos", "why"), [(GOOD, 2, "QoS not supported"), (b" " * 100_000, 1, "Packet too large")]
)
def test_paho_hears_why_it_was_cut_off(payload: bytes, qos: int, why: str) -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            with paho_client(V5) as node:
                heard = Told(node)
                await node.connect(listener)
                node.client.publish(TOPIC, payload, qos)
                await told(heard.over)
            assert heard.gone[0] == why

    run(main())


def test_paho_hears_that_the_service_is_stopping() -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            with paho_client(V5) as node:
                heard = Told(node)
                await node.connect(listener)
                await listener.stop()
                await told(heard.over)
            assert heard.gone[0] == "Server shutting down"

    run(main())


@pytest.mark.parametrize("protocol", [MQTTProtocolVersion.MQTTv31, MQTTProtocolVersion.MQTTv311, V5])
def test_each_version_finds_its_answer(protocol: MQTTProtocolVersion) -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            with paho_client(protocol) as node:
                connected = await asyncio.to_thread(
                    paho.Client.connect, node.client, *listener.address, keepalive=60
                )
                assert connected == paho.MQTT_ERR_SUCCESS
                node.client.loop_start()
                await told(node.connected)
            refused = protocol == MQTTProtocolVersion.MQTTv31
            assert node.codes[0] == ("Unsupported protocol version" if refused else "Success")

    run(main())


@pytest.mark.mosquitto
def test_mosquitto_pub_says_why_a_payload_was_kept_out(needs_mosquitto: str) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            words = ("-V", "5", "-q", "1", "-t", TOPIC, "-m", "21.5 degrees")
            _, said = await mosquitto_pub(needs_mosquitto, listener, *words)
            assert "not JSON: Extra data: line 1 column 6 (char 5)" in said

    run(main())


@pytest.mark.mosquitto
def test_mosquitto_pub_knows_the_limits_by_itself(needs_mosquitto: str) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            words = ("-V", "5", "-q", "2", "-t", TOPIC, "-m", "x")
            _, said = await mosquitto_pub(needs_mosquitto, listener, *words)
            assert "QoS not supported" in said
            assert listener.counts.breaches == 0
            assert shelf.said() == []

    run(main())
