"""Whole wakings of a node against the built-in listener and Mosquitto, with the network away and back."""

import asyncio
import importlib
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from sensors.clock import DAY_MS, SECOND_MS, SetClock, parse_time
from sensors.intake.batch import Batcher
from sensors.intake.listener import Listener
from sensors.intake.message import Message
from sensors.reading import NodeStatus, Press, Reading
from server.store import readings
from server.store.engine import Engine, open_store
from tests.air.mosquitto import Mosquitto
from tests.node.firmware import FOLDER

assert FOLDER.is_dir()
client, mqtt, pack, ring, waking = (
    importlib.import_module(f"slownode.{name}") for name in ("client", "mqtt", "pack", "ring", "waking")
)

NOW = parse_time("2026-03-02T06:00:00Z")
SECONDS = NOW // SECOND_MS
PATIENCE_S = 20.0
SETTINGS = {"place": "loft", "node": "n1", "hook": "A3", "every_s": 60, "send_every": 1}
WILL = ("slowcorner/loft/n1/status", b"offline")


class Board:
    """What is not there of a board: a clock, a sensor, a button, and a network that can be away."""

    def __init__(self, address: tuple[str, int] | None, password: str | None = None) -> None:
        self.address, self.password = address, password
        self.seconds, self.knows_time, self.presses = 1000, True, 0
        self.said: list[str] = []
        self.warm = 20.0

    def measure(self) -> tuple[float | None, ...]:
        self.warm = 20.0 + (self.warm - 19.75) % 16.0
        return (self.warm, 55.0, None, None, 3.9)

    def uptime(self) -> int:
        return self.seconds

    def wall(self) -> int | None:
        return SECONDS + self.seconds - 1000 if self.knows_time else None

    def connect(self) -> Any:
        if self.address is None:
            raise OSError("no Wi-Fi")
        stream = socket.create_connection(self.address, timeout=PATIENCE_S)
        user = None if self.password is None else "loft/n1"
        return client.Client(Stream(stream), "n1", user, self.password, WILL)

    def set_clock(self) -> None:
        if not self.knows_time:
            raise OSError("no time server")

    def pressed(self) -> int:
        presses, self.presses = self.presses, 0
        return presses

    def alive(self) -> None: ...

    def say(self, words: str) -> None:
        self.said.append(words)


class Stream:
    """A socket as the firmware knows it."""

    def __init__(self, stream: socket.socket) -> None:
        self.stream = stream

    def write(self, data: bytes) -> None:
        self.stream.sendall(data)

    def read(self, count: int) -> bytes:
        return self.stream.recv(count)

    def close(self) -> None:
        self.stream.close()


class Shop:
    """The built-in listener over a store, in a thread of its own."""

    def __init__(self, engine: Engine, login: Callable[[str, bytes, str], bool] | None) -> None:
        self.engine, self.clock = engine, SetClock(NOW + 20 * DAY_MS)
        self.presses: list[Press] = []
        self.address = ("127.0.0.1", 0)
        self._login = login
        self._ready, self._stop = threading.Event(), asyncio.Event()
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_until_complete, args=(self._run(),))

    async def _run(self) -> None:
        batcher = Batcher(self._keep)
        listener = Listener("127.0.0.1", 0, batcher.put, self.clock, login=self._login, takes_presses=True)
        await listener.start()
        self.address = listener.address
        self._ready.set()
        await self._stop.wait()
        await listener.stop()
        await batcher.close()

    def _keep(self, messages: Any) -> object:
        said: list[Message] = list(messages)
        self.presses += [press for message in said for press in message.presses]
        return readings.keep(
            self.engine,
            [reading for message in said for reading in message.readings],
            [rejected for message in said for rejected in message.rejected],
            [status for message in said for status in message.statuses],
            self.clock.now(),
        )

    def __enter__(self) -> "Shop":
        self._thread.start()
        assert self._ready.wait(PATIENCE_S)
        return self

    def __exit__(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join()
        self._loop.close()

    def kept(self) -> list[Reading]:
        return readings.node_readings(self.engine, "n1", 0, NOW * 2)


@contextmanager
def shop(folder: Path, login: Callable[[str, bytes, str], bool] | None = None) -> Iterator[Shop]:
    engine = open_store(f"sqlite:///{folder}/slowcorner.db")
    try:
        with Shop(engine, login) as opened:
            yield opened
    finally:
        engine.dispose()


def rounds(board: Board, kept: Any, memory: dict[str, Any], count: int, **changes: Any) -> None:
    for _ in range(count):
        board.seconds += 60
        waking.wake({**SETTINGS, **changes}, board, kept, memory)


def times(found: list[Reading]) -> list[int]:
    return [(one.time - NOW) // SECOND_MS for one in found if one.name == "temperature"]


def test_a_waking_is_in_the_store_with_its_own_time(tmp_path: Path) -> None:
    kept = ring.Ring(str(tmp_path / "ring"))
    with shop(tmp_path) as there:
        board = Board(there.address)
        assert waking.wake(SETTINGS, board, kept, {}) == 60
        found = there.kept()
        assert [(one.name, one.value, one.unit, one.time) for one in found] == [
            ("battery", 3.9, "V", NOW), ("humidity", 55.0, "%RH", NOW), ("temperature", 20.25, "Cel", NOW),
        ]  # fmt: skip
        assert [(one.node, one.status) for one in readings.nodes(there.engine)] == [("n1", "online")]
    assert kept.count() == 0
    assert board.said == []


def test_while_the_network_is_away_readings_are_kept_and_come_in_order_once(tmp_path: Path) -> None:
    kept, memory = ring.Ring(str(tmp_path / "ring")), dict[str, Any]()
    with shop(tmp_path) as there:
        board = Board(None)
        rounds(board, kept, memory, 400)
        assert kept.count() == 400
        assert "not sent: no Wi-Fi; kept for the next time" in board.said
        # Sending is tried ever more rarely: at the 1st, 2nd, 4th, 8th and then every 16th.
        assert len(board.said) < 400 / 16 + 6
        board.address = there.address
        rounds(board, kept, memory, 16)
        assert times(there.kept()) == [60 * (step + 1) for step in range(len(times(there.kept())))]
        assert len(times(there.kept())) + kept.count() == 416
        rounds(board, kept, memory, 1)
        assert times(there.kept()) == [60 * (step + 1) for step in range(417)]
        assert kept.count() == 0


def test_a_connection_that_breaks_in_the_middle_loses_nothing_and_says_nothing_twice(tmp_path: Path) -> None:
    class Cut(Stream):
        """A socket that breaks after so many bytes."""

        left = 0

        def write(self, data: bytes) -> None:
            Cut.left -= len(data)
            if Cut.left < 0:
                self.stream.close()
                raise OSError("broken")
            super().write(data)

    with shop(tmp_path) as there:
        for left in range(120, 4000, 317):
            folder = tmp_path / f"ring-{left}"
            kept, memory = ring.Ring(str(folder)), dict[str, Any]()
            board = Board(None)
            board.seconds = 1000 + left * 300
            first = board.seconds
            rounds(board, kept, memory, 60)
            board.address = there.address
            Cut.left = left
            stream = socket.create_connection(there.address, timeout=PATIENCE_S)
            try:
                broken = client.Client(Cut(stream), "n1", will=WILL)
                waking.send(SETTINGS, board, kept, memory, broken)
            except (OSError, mqtt.MqttError):
                pass
            whole = client.Client(Stream(socket.create_connection(there.address, timeout=PATIENCE_S)), "n1")
            waking.send(SETTINGS, board, ring.Ring(str(folder)), memory, whole)
            whole.close()
            mine = [at for at in times(there.kept()) if at > first - 1000]
            assert mine == [first - 1000 + 60 * (step + 1) for step in range(60)], left


def test_a_node_that_never_learns_the_time_sends_how_long_ago_it_was(tmp_path: Path) -> None:
    kept, memory = ring.Ring(str(tmp_path / "ring")), dict[str, Any]()
    with shop(tmp_path) as there:
        board = Board(None)
        board.knows_time = False
        rounds(board, kept, memory, 5)
        board.address = there.address
        with_network = 20
        rounds(board, kept, memory, with_network)
        # The service's clock stands still: what was measured so many seconds before it was sent.
        found = [time - 20 * DAY_MS // SECOND_MS for time in times(there.kept())]
        assert len(found) >= 5
        assert min(found) <= -4 * 60
        assert max(found) == 0
        assert any(words.startswith("no time: no time server") for words in board.said)


def test_what_was_kept_without_a_time_before_a_power_cut_is_let_go_and_said(tmp_path: Path) -> None:
    board = Board(None)
    board.knows_time = False
    rounds(board, ring.Ring(str(tmp_path / "ring")), {}, 5)
    with shop(tmp_path) as there:
        board.address, board.knows_time = there.address, True
        kept = ring.Ring(str(tmp_path / "ring"))
        rounds(board, kept, {}, 1)
        assert len(times(there.kept())) == 1
        assert "readings from before a power cut, with no time: let go" in board.said
        assert kept.count() == 0


def test_a_press_is_sent_at_once_and_only_once(tmp_path: Path) -> None:
    kept, memory = ring.Ring(str(tmp_path / "ring")), {"boot": "7f"}
    with shop(tmp_path) as there:
        board = Board(there.address)
        rounds(board, kept, memory, 1, send_every=10)
        assert there.presses == []
        board.presses = 2
        rounds(board, kept, memory, 1, send_every=10)
        rounds(board, kept, memory, 1, send_every=10)
        assert [(press.hook, press.id) for press in there.presses] == [("A3", "n1-7f-1"), ("A3", "n1-7f-2")]


def test_a_press_while_the_network_is_away_is_told_with_its_own_time(tmp_path: Path) -> None:
    kept, memory = ring.Ring(str(tmp_path / "ring")), {"boot": "7f"}
    with shop(tmp_path) as there:
        board = Board(None)
        board.knows_time = False
        board.presses = 1
        pressed_at = NOW + 60 * SECOND_MS  # seen at the first waking, a minute on
        rounds(board, kept, memory, 30)
        board.address, board.knows_time = there.address, True
        rounds(board, kept, memory, 1)
        assert [(press.id, press.time) for press in there.presses] == [("n1-7f-1", pressed_at)]


def test_a_wrong_password_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    kept, memory = ring.Ring(str(tmp_path / "ring")), dict[str, Any]()
    with shop(tmp_path, lambda user, password, _address: (user, password) == ("loft/n1", b"right")) as there:
        board = Board(there.address, "wrong")
        rounds(board, kept, memory, 1)
        assert board.said == ["not sent: the user or the password is wrong; kept for the next time"]
        board.password = "right"
        rounds(board, kept, memory, 2)
        assert times(there.kept()) == [60, 120, 180]


def test_without_a_goodbye_the_will_says_that_it_is_gone(tmp_path: Path) -> None:
    with shop(tmp_path) as there:
        board = Board(there.address)
        connected = board.connect()
        connected.publish_all([("slowcorner/loft/n1/status", b"online", True)])
        connected.close(politely=False)
        ends = time.monotonic() + PATIENCE_S
        while readings.nodes(there.engine)[0].status != "offline":
            assert time.monotonic() < ends
    assert isinstance(NodeStatus("loft", "n1", False, 0), NodeStatus)


@pytest.mark.mosquitto
def test_against_mosquitto_it_publishes_in_order_with_its_own_times(
    tmp_path: Path, needs_mosquitto_broker: str
) -> None:
    said: list[tuple[str, bytes]] = []
    heard, subscribed = threading.Event(), threading.Event()

    def on_message(_client: paho.Client, _data: object, message: paho.MQTTMessage) -> None:
        said.append((message.topic, bytes(message.payload)))
        if len(said) == 1 + 3:
            heard.set()

    with Mosquitto(needs_mosquitto_broker, tmp_path / "broker", "allow_anonymous true") as broker:
        listening = paho.Client(CallbackAPIVersion.VERSION2)
        listening.on_message = on_message
        listening.on_subscribe = lambda *_: subscribed.set()
        listening.connect("127.0.0.1", broker.port)
        listening.subscribe("slowcorner/#", qos=1)
        listening.loop_start()
        assert subscribed.wait(PATIENCE_S)
        kept, memory = ring.Ring(str(tmp_path / "ring")), dict[str, Any]()
        board = Board(None)
        rounds(board, kept, memory, 45)
        board.address = ("127.0.0.1", broker.port)
        connected = board.connect()
        waking.send(SETTINGS, board, kept, memory, connected)
        connected.close()
        assert heard.wait(PATIENCE_S)
        listening.disconnect()
        listening.loop_stop()
    assert said[0] == ("slowcorner/loft/n1/status", b"online")
    assert [topic for topic, _ in said[1:]] == ["slowcorner/loft/n1/senml"] * 3
    assert [payload.count(b'"temperature"') for _, payload in said[1:]] == [20, 20, 5]
