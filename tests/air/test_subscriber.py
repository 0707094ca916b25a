"""Readings through a real Mosquitto: logins, rights, TLS, restarts, and what is acknowledged when."""

import asyncio
import logging
import shutil
import ssl
import subprocess
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from sensors.clock import SetClock
from sensors.intake.broker import Broker, encrypted
from sensors.intake.subscriber import Subscriber
from sensors.mapping import Field, Mapping
from tests.air.authority import throw_away
from tests.air.mosquitto import LASTING, Mosquitto, anonymous, free_port
from tests.air.wire import GOOD, NOW, STATUS, TOPIC, Shelf, run

pytestmark = pytest.mark.mosquitto
SAMPLE = Path(__file__).parents[2] / "deploy" / "mosquitto"


class Waits:
    """In place of the clock's waits: notes how long each was to be, and ends it when told."""

    def __init__(self) -> None:
        self.asked: list[float] = []
        self._asked = asyncio.Event()
        self._go = asyncio.Semaphore(0)

    async def __call__(self, seconds: float) -> None:
        self.asked.append(seconds)
        self._asked.set()
        await self._go.acquire()

    async def next(self) -> float:
        """Wait until a wait is asked for; how long [s]."""
        await self._asked.wait()
        self._asked.clear()
        return self.asked[-1]

    def go(self) -> None:
        self._go.release()


@asynccontextmanager
async def subscribed(
    port: int,
    sink: Shelf,
    *,
    reaches: bool = True,
    tls: ssl.SSLContext | None = None,
    user: str = "",
    password: str = "",
    wait: Callable[[float], Awaitable[object]] = asyncio.sleep,
) -> AsyncIterator[tuple[Subscriber, asyncio.Event]]:
    """A subscriber that has reached its broker, unless it is not to; the event is set at each reaching."""
    reached = asyncio.Event()
    broker = Broker("127.0.0.1", port, "slowcorner-test", user, password, tls)
    subscriber = Subscriber(
        broker, sink, SetClock(NOW), on_reached=reached.set, chance=lambda: 1.0, wait=wait
    )
    await subscriber.start()
    try:
        if reaches:
            await reached.wait()
        yield subscriber, reached
    finally:
        await subscriber.stop()


@pytest.fixture
def pub(needs_mosquitto: str) -> Callable[..., Any]:
    async def publish(port: int, *words: str, topic: str = TOPIC, payload: bytes = GOOD) -> str:
        """Publish by Mosquitto's own program, with quality of service 1; what it complained of."""
        command = [needs_mosquitto, "-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", topic, *words]
        done = await asyncio.to_thread(subprocess.run, [*command, "-s"], input=payload, capture_output=True)
        return (done.stdout + done.stderr).decode()

    return publish


def test_readings_and_statuses_come_and_what_was_retained_is_no_reading(
    needs_mosquitto_broker: str, tmp_path: Path, pub: Callable[..., Any]
) -> None:
    async def main(port: int) -> None:
        shelf = Shelf()
        await pub(port, "-r")
        await pub(port, "-r", topic=STATUS, payload=b"online")
        async with subscribed(port, shelf) as (subscriber, _):
            await shelf.has(1)
            assert shelf.said() == ["online"]
            assert subscriber.trouble is None
            await pub(port, payload=b'[{"n":"temperature","u":"Cel","v":19}]')
            await pub(port, payload=b"junk")
            await shelf.has(3)
            assert shelf.said()[1] == "temperature 19"
            assert "JSON" in shelf.said()[2]

    with anonymous(needs_mosquitto_broker, tmp_path) as broker:
        run(main(broker.port))


def test_what_came_while_nobody_was_there_waits(
    needs_mosquitto_broker: str, tmp_path: Path, pub: Callable[..., Any]
) -> None:
    async def main(broker: Mosquitto) -> None:
        shelf = Shelf()
        async with subscribed(broker.port, shelf):
            pass
        for value in (1, 2, 3):
            await pub(broker.port, payload=b'[{"n":"temperature","u":"Cel","v":%d}]' % value)
        await asyncio.to_thread(broker.stop)
        broker.start()
        async with subscribed(broker.port, shelf):
            await shelf.has(3)
        assert shelf.said() == ["temperature 1", "temperature 2", "temperature 3"]

    with anonymous(needs_mosquitto_broker, tmp_path) as broker:
        run(main(broker))


def test_what_waits_from_a_time_when_quality_2_was_asked_for_comes_too(
    needs_mosquitto_broker: str, tmp_path: Path, pub: Callable[..., Any]
) -> None:
    async def main(port: int) -> None:
        asked = ["-i", "slowcorner-test", "-c", "-q", "2", "-t", TOPIC, "-E"]
        command = [shutil.which("mosquitto_sub") or "", "-p", str(port), *asked]
        await asyncio.to_thread(subprocess.run, command, check=True)
        for value in (1, 2, 3):  # the last -q given holds
            await pub(port, "-q", "2", payload=b'[{"n":"temperature","u":"Cel","v":%d}]' % value)
        shelf = Shelf()
        async with subscribed(port, shelf):
            await shelf.has(3)
        assert shelf.said() == ["temperature 1", "temperature 2", "temperature 3"]

    with anonymous(needs_mosquitto_broker, tmp_path) as broker:
        run(main(broker.port))


def test_nothing_is_acknowledged_before_it_is_stored_and_a_failure_is_sent_again(
    needs_mosquitto_broker: str, tmp_path: Path, pub: Callable[..., Any]
) -> None:
    async def main(port: int) -> None:
        shelf, waits = Shelf(), Waits()
        async with subscribed(port, shelf, wait=waits) as (subscriber, reached):
            shelf.error = OSError("no room left on the disk")
            await pub(port)
            assert await waits.next() == 1.0
            assert subscriber.trouble is not None
            assert "nothing is taken from the broker" in subscriber.trouble
            assert "no room left on the disk" in subscriber.trouble
            waits.go()  # still no room: the wait grows, though the broker itself is there
            assert await waits.next() == 2.0
            shelf.error = None
            reached.clear()
            waits.go()
            await shelf.has(1)
            assert shelf.said() == ["temperature 21.5"]
            await reached.wait()
            assert subscriber.trouble is None
        async with subscribed(port, shelf):
            await pub(port, payload=b'[{"n":"temperature","u":"Cel","v":7}]')
            await shelf.has(2)
        assert shelf.said()[1:] == ["temperature 7"]  # the first was acknowledged by now

    with anonymous(needs_mosquitto_broker, tmp_path) as broker:
        run(main(broker.port))


def test_a_broker_that_is_away_is_said_and_found_again(
    needs_mosquitto_broker: str, tmp_path: Path, pub: Callable[..., Any]
) -> None:
    async def main(broker: Mosquitto) -> None:
        shelf, waits = Shelf(), Waits()
        async with subscribed(broker.port, shelf, wait=waits, reaches=False) as (subscriber, reached):
            for expected_s in (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0):
                assert await waits.next() == expected_s
                waits.go()
            await waits.next()
            assert subscriber.trouble == (
                f"the broker at 127.0.0.1:{broker.port} has not been reached since 2026-03-02T06:00:00Z: "
                "Connection refused"
            )
            broker.start()
            waits.go()
            await reached.wait()
            await pub(broker.port)
            await shelf.has(1)
            reached.clear()
            await asyncio.to_thread(broker.stop)
            assert await waits.next() == 1.0  # it had worked, so it begins with a short wait
            broker.start()
            waits.go()
            await reached.wait()
            await pub(broker.port)
            await shelf.has(2)

    broker = Mosquitto(needs_mosquitto_broker, tmp_path, "allow_anonymous true", *LASTING)
    try:
        run(main(broker))
    finally:
        broker.stop()


def sample(program: str, folder: Path) -> tuple[Mosquitto, int]:
    """The broker as the sample configuration has it, in `folder`; its encrypted port."""
    certificates, port, tls_port = throw_away(folder / "certs"), free_port(), free_port()
    shutil.copy(SAMPLE / "slowcorner.acl", folder / "slowcorner.acl")
    passwords = folder / "slowcorner.passwords"
    passwords.touch()
    for user in ("slowcorner", "n1", "n2", "wall-screen"):
        words = [shutil.which("mosquitto_passwd") or "", "-b", str(passwords), user, f"reed-{user}"]
        subprocess.run(words, check=True, capture_output=True)
    lines = (SAMPLE / "slowcorner.conf").read_text(encoding="utf-8")
    for said, here in (
        ("listener 1883 127.0.0.1\n", ""),
        ("listener 8883\n", f"listener {tls_port} 127.0.0.1\n"),
        ("/etc/mosquitto/certs/", f"{certificates.authority.parent}/"),
        ("/etc/mosquitto/", f"{folder}/"),
    ):
        assert said in lines
        lines = lines.replace(said, here)
    return Mosquitto(program, folder, lines, port=port), tls_port


def test_the_sample_configuration_asks_for_passwords_gives_rights_and_encrypts(
    needs_mosquitto_broker: str,
    tmp_path: Path,
    pub: Callable[..., Any],
    caplog: pytest.LogCaptureFixture,
) -> None:
    async def main(port: int, tls_port: int) -> None:
        shelf, waits = Shelf(), Waits()
        async with subscribed(
            port, shelf, wait=waits, reaches=False, user="slowcorner", password="sedge"
        ) as (subscriber, _):
            await waits.next()
            assert subscriber.trouble is not None
            assert "it refuses user 'slowcorner' or the password: Not authorized" in subscriber.trouble
            assert "sedge" not in subscriber.trouble + repr(subscriber.broker) + caplog.text
        ours = partial(subscribed, user="slowcorner", password="reed-slowcorner")
        async with ours(port, shelf) as (subscriber, _):
            refused = await pub(
                port, "-u", "n1", "-P", "reed-n1", topic="slowcorner/shop/n2/senml", payload=b"x"
            )
            await pub(port, "-u", "n1", "-P", "reed-n1")
            await shelf.has(1)
            assert shelf.said() == ["temperature 21.5"], refused
            assert subscriber.publish("slowcorner/rack/7/state", b"{}")
        unknown = encrypted()
        async with ours(tls_port, shelf, wait=waits, reaches=False, tls=unknown) as (lost, _):
            await waits.next()
            assert lost.trouble is not None
            assert "its certificate is not one to be trusted" in lost.trouble
        trusting = encrypted(tmp_path / "certs" / "authority.pem")
        async with ours(tls_port, shelf, tls=trusting):
            for value in range(50):
                await pub(
                    port, "-u", "n1", "-P", "reed-n1", payload=b'[{"n":"mass","u":"kg","v":%d}]' % value
                )
            await shelf.has(51)
        assert shelf.said()[1:] == [f"mass {value}" for value in range(50)]

    broker, tls_port = sample(needs_mosquitto_broker, tmp_path)
    with broker, caplog.at_level(logging.DEBUG):
        run(main(broker.port, tls_port))


def test_what_the_broker_does_not_let_us_publish_is_said(
    needs_mosquitto_broker: str, tmp_path: Path, caplog: pytest.LogCaptureFixture, pub: Callable[..., Any]
) -> None:
    async def main(port: int) -> None:
        shelf = Shelf()
        async with subscribed(port, shelf) as (subscriber, _):
            assert subscriber.publish("slowcorner/rack/7/state", b"{}")
            await pub(port)  # by the time it is back, the answer to the one before is too
            await shelf.has(1)

    acl = tmp_path / "acl"
    acl.write_text("topic readwrite slowcorner/+/+/senml\n", encoding="utf-8")
    with anonymous(needs_mosquitto_broker, tmp_path, f"acl_file {acl}") as broker:
        run(main(broker.port))
    assert "does not take what is published: Not authorized" in caplog.text


def test_mappings_add_topics_and_take_them_away(
    needs_mosquitto_broker: str, tmp_path: Path, pub: Callable[..., Any]
) -> None:
    async def main(port: int) -> None:
        shelf = Shelf()
        mapping = Mapping("loft/+/rh", "loft", "{1}", "number", (Field("humidity", "", "%RH"),))
        async with subscribed(port, shelf) as (subscriber, _):
            subscriber.use_mappings([mapping])
            await asyncio.gather(*subscriber.changing)
            await pub(port, topic="loft/a/rh", payload=b"48")
            await shelf.has(1)
            subscriber.use_mappings([])
            await asyncio.gather(*subscriber.changing)
            await pub(port, topic="loft/a/rh", payload=b"49")
            await pub(port)
            await shelf.has(2)
            assert shelf.said() == ["humidity 48", "temperature 21.5"]

    with anonymous(needs_mosquitto_broker, tmp_path) as broker:
        run(main(broker.port))
