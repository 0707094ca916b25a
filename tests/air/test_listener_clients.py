"""The listener with clients that others wrote: paho-mqtt, and Mosquitto's mosquitto_pub."""

import asyncio
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from sensors.intake.listener import Listener
from tests.air.wire import GOOD, PATIENCE_S, STATUS, TOPIC, Shelf, listening, run


def login(user_name: str, password: bytes, _address: str) -> bool:
    return (user_name, password) == ("node", b"reed")


class Paho:
    """A paho client in its own thread, with what it was told."""

    def __init__(self, protocol: MQTTProtocolVersion = MQTTProtocolVersion.MQTTv311) -> None:
        self.client = paho.Client(CallbackAPIVersion.VERSION2, "paho-1", protocol=protocol)
        self.connected = threading.Event()
        self.disconnected = threading.Event()
        self.codes: list[str] = []
        self.granted: list[str] = []
        self.subscribed = threading.Event()
        self.client.on_connect = self._on_connect
        self.client.on_disconnect = lambda *_: self.disconnected.set()
        self.client.on_subscribe = self._on_subscribe

    def _on_connect(
        self, _client: object, _data: object, _flags: object, code: object, _properties: object
    ) -> None:
        self.codes.append(str(code))
        self.connected.set()

    def _on_subscribe(
        self, _client: object, _data: object, _mid: int, codes: list[ReasonCode], _properties: object
    ) -> None:
        self.granted += [str(code) for code in codes]
        self.subscribed.set()

    async def connect(self, listener: Listener, keep_alive_s: int = 60) -> None:
        await asyncio.to_thread(self.client.connect, *listener.address, keep_alive_s)
        self.client.loop_start()
        await told(self.connected)

    async def publish(self, payload: bytes, qos: int = 1, topic: str = TOPIC, retain: bool = False) -> None:
        sent = self.client.publish(topic, payload, qos, retain)
        await asyncio.to_thread(sent.wait_for_publish, PATIENCE_S)
        assert sent.is_published()

    def vanish(self) -> None:
        sock = self.client.socket()
        assert isinstance(sock, socket.socket)
        sock.shutdown(socket.SHUT_RDWR)


async def told(event: threading.Event) -> None:
    assert await asyncio.to_thread(event.wait, PATIENCE_S)


@contextmanager
def paho_client(protocol: MQTTProtocolVersion = MQTTProtocolVersion.MQTTv311) -> Iterator[Paho]:
    node = Paho(protocol)
    try:
        yield node
    finally:
        node.client.disconnect()
        node.client.loop_stop()


def test_paho_publishes_with_quality_0_and_1() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client() as node:
                await node.connect(listener)
                await node.publish(GOOD, 1)
                await node.publish(b"nonsense", 1)
                await node.publish(GOOD, 0)
                await shelf.has(3)
            assert node.codes == ["Success"]
            reason = "not JSON: Expecting value: line 1 column 1 (char 0)"
            assert shelf.said() == ["temperature 21.5", reason, "temperature 21.5"]

    run(main())


def test_paho_gets_every_acknowledgement_of_many_in_flight() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client() as node:
                await node.connect(listener)
                payloads = [b'[{"n":"mass","u":"kg","v":%d}]' % n for n in range(500)]
                sent = [node.client.publish(TOPIC, payload, 1) for payload in payloads]
                for one in sent:
                    await asyncio.to_thread(one.wait_for_publish, PATIENCE_S)
                assert all(one.is_published() for one in sent)
            assert shelf.said() == [f"mass {n}" for n in range(500)]

    run(main())


def test_pahos_will_is_said_when_it_vanishes_and_not_when_it_leaves() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            for leaves in (True, False):
                with paho_client() as node:
                    node.client.will_set(STATUS, b"offline", 1, retain=True)
                    await node.connect(listener)
                    await node.publish(b"online", 1, STATUS, retain=True)
                    if not leaves:
                        node.vanish()
                        await shelf.has(3)
            assert shelf.said()[:3] == ["online", "online", "offline"]

    run(main())


def test_paho_with_a_wrong_password_is_told_so() -> None:
    async def main() -> None:
        async with listening(Shelf(), login) as listener:
            with paho_client() as node:
                node.client.username_pw_set("node", "sedge")
                await node.connect(listener)
                await told(node.disconnected)
            assert set(node.codes) == {"Bad user name or password"}

    run(main())


def test_paho_with_the_right_password_publishes() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf, login) as listener:
            with paho_client() as node:
                node.client.username_pw_set("node", "reed")
                await node.connect(listener)
                await node.publish(GOOD)
            assert shelf.said() == ["temperature 21.5"]

    run(main())


def test_paho_keeps_itself_alive() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client() as node:
                node.client.will_set(STATUS, b"offline", 1)
                await node.connect(listener, keep_alive_s=2)
                lost = await asyncio.to_thread(node.disconnected.wait, 3.5)  # the limit is 3 s
                assert not lost
                await node.publish(GOOD)
            assert shelf.said() == ["temperature 21.5"]

    run(main())


def test_pahos_subscription_is_refused() -> None:
    async def main() -> None:
        async with listening(Shelf()) as listener:
            with paho_client() as node:
                await node.connect(listener)
                node.client.subscribe("slowcorner/#", 1)
                await told(node.subscribed)
            assert node.granted == ["Unspecified error"]  # paho's word for 0x80

    run(main())


def test_ten_megabytes_from_paho_do_not_disturb_others() -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            with paho_client() as node:
                await node.connect(listener)
                node.client.publish(TOPIC, b" " * 10_000_000, 0)
                await told(node.disconnected)
            (rejected,) = (await shelf.has(1))[0].rejected
            assert "is over the limit of 65536 bytes" in rejected.reason

    run(main())


async def mosquitto_pub(program: str, listener: Listener, *words: str) -> tuple[int, str]:
    host, port = listener.address
    process = await asyncio.create_subprocess_exec(
        program,
        "-h",
        host,
        "-p",
        str(port),
        *words,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
    )
    said, _ = await process.communicate()
    assert process.returncode is not None
    return process.returncode, said.decode()


@pytest.mark.mosquitto
@pytest.mark.parametrize("qos", ["0", "1"])
@pytest.mark.parametrize("version", ["311", "5"])
def test_mosquitto_pub_publishes(needs_mosquitto: str, version: str, qos: str) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf) as listener:
            words = ("-V", version, "-q", qos, "-t", TOPIC, "-m", GOOD.decode())
            assert await mosquitto_pub(needs_mosquitto, listener, *words) == (0, "")
            await shelf.has(1)
            assert shelf.said() == ["temperature 21.5"]

    run(main())


@pytest.mark.mosquitto
def test_mosquitto_pub_is_asked_for_its_password(needs_mosquitto: str) -> None:
    async def main() -> None:
        shelf = Shelf()
        async with listening(shelf, login) as listener:
            words = ("-V", "311", "-u", "node", "-q", "1", "-t", TOPIC, "-m", GOOD.decode(), "-P")
            code, said = await mosquitto_pub(needs_mosquitto, listener, *words, "sedge")
            assert code != 0
            assert "bad user name or password" in said
            (told,) = shelf.said()
            assert told.endswith(
                'user "node", from 127.0.0.1, was not let in: its user name or password is wrong'
            )
            assert await mosquitto_pub(needs_mosquitto, listener, *words, "reed") == (0, "")
            assert shelf.said() == [told, "temperature 21.5"]

    run(main())


@pytest.mark.mosquitto
def test_mosquitto_pub_with_ten_megabytes_is_cut_off(needs_mosquitto: str, tmp_path: Path) -> None:
    async def main() -> None:
        shelf = Shelf()
        (tmp_path / "large").write_bytes(b" " * 10_000_000)
        async with listening(shelf) as listener:
            words = ("-V", "311", "-q", "0", "-t", TOPIC, "-f", str(tmp_path / "large"))
            sending = asyncio.create_task(
                mosquitto_pub(needs_mosquitto, listener, *words), name="mosquitto_pub"
            )
            (rejected,) = (await shelf.has(1))[0].rejected
            assert "is over the limit of 65536 bytes" in rejected.reason
            await sending

    run(main())
