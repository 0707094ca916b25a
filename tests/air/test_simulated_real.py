"""Simulated nodes against what they are made for: the built-in listener, and a broker already there."""

import asyncio
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from sensors.air import PlaceAir
from sensors.clock import HOUR_MS, MINUTE_MS, SetClock
from sensors.intake.listener import Listener
from sensors.intake.message import Message, interpret
from sensors.simulated import SimulatedShop, demo_nodes
from tests.air.broker import Broker

NOW = 1_791_806_400_000  # 2026-10-12T12:00:00Z
PATIENCE_S = 20.0


def test_built_in_listener_takes_everything_the_demo_says() -> None:
    heard = asyncio.run(_listen())
    assert not [rejected for message in heard for rejected in message.rejected]
    airs = {"drying-room": PlaceAir(0.6), "cellar": PlaceAir(0.2)}
    for message in heard:
        for reading in message.readings:
            airs[reading.place].add([reading])
    for air in airs.values():
        assert air.known_from() == NOW - 30 * HOUR_MS
        assert air.known_until() == NOW
        assert air.missing(NOW - 30 * HOUR_MS, NOW) == ()
    statuses = [(status.node, status.online) for message in heard for status in message.statuses]
    for node in ("rack-north", "rack-south", "wall"):
        assert [online for name, online in statuses if name == node] == [True, False]


async def _listen() -> list[Message]:
    heard: list[Message] = []

    async def keep(message: Message) -> None:
        heard.append(message)

    clock = SetClock(NOW, rate=300.0)
    listener = Listener("127.0.0.1", 0, keep, clock)
    await listener.start()
    try:
        host, port = listener.address
        shop = SimulatedShop(demo_nodes(NOW - 12 * HOUR_MS), host, port, clock, since=NOW - 30 * HOUR_MS)
        shop.start()
        try:
            assert await asyncio.to_thread(shop.wait_for_past, PATIENCE_S)
        finally:
            await asyncio.to_thread(shop.stop)
    finally:
        await listener.stop()
    return heard


@pytest.fixture
def mosquitto_port(tmp_path: Path, needs_mosquitto_broker: str) -> Iterator[int]:
    with Broker() as free:
        port = free.port
    settings = tmp_path / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nlog_dest stderr\n")
    with subprocess.Popen(
        [needs_mosquitto_broker, "-c", str(settings)], stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stderr is not None
        try:
            for line in process.stderr:
                if line.rstrip().endswith("running"):
                    break
            yield port
        finally:
            process.terminate()
            process.stderr.read()


@pytest.mark.mosquitto
def test_mosquitto_passes_on_everything_the_demo_says(mosquitto_port: int) -> None:
    clock = SetClock(NOW)
    heard: list[Message] = []
    statuses: list[tuple[str, bytes]] = []
    subscribed, gone = threading.Event(), threading.Event()

    def on_message(_client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        payload = bytes(message.payload)
        heard.append(interpret(message.topic, payload, clock.now(), retained=message.retain))
        if message.topic.endswith("/status"):
            statuses.append((message.topic.split("/")[2], payload))
            if sum(word == b"offline" for _, word in statuses) == 3:
                gone.set()

    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.on_message = on_message
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", mosquitto_port)
    client.subscribe("slowcorner/#", qos=1)
    client.loop_start()
    try:
        assert subscribed.wait(PATIENCE_S)
        shop = SimulatedShop(
            demo_nodes(NOW - 12 * HOUR_MS), "127.0.0.1", mosquitto_port, clock, since=NOW - 30 * HOUR_MS
        )
        shop.start()
        try:
            assert shop.wait_for_past(PATIENCE_S)
        finally:
            shop.stop()
        assert gone.wait(PATIENCE_S)
    finally:
        client.disconnect()
        client.loop_stop()
    readings = [reading for message in heard for reading in message.readings]
    assert not [rejected for message in heard for rejected in message.rejected]
    assert len(readings) == 3 * 2 * (30 * HOUR_MS // (5 * MINUTE_MS) + 1)
    assert sorted(statuses) == [
        (node, word) for node in ("rack-north", "rack-south", "wall") for word in (b"offline", b"online")
    ]
