"""With a broker, SIGKILL at any moment loses nothing that the broker acknowledged, and keeps nothing twice.

Forty kills of a subscriber under load: half at a random moment, half exactly between the commit of a batch
and its acknowledgement, after which the broker sends the batch again and the store has to know it.
"""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from sensors.clock import wall_millis
from server.store.engine import open_store
from tests.air.mosquitto import anonymous

KILLS = 40
LOAD = 150
"""Messages published for each kill."""

PATIENCE_S = 30.0


class Doomed:
    """The subscriber in a process of its own."""

    def __init__(self, port: int, url: str, commits: int) -> None:
        command = [sys.executable, "-m", "tests.faults.killed_subscriber", str(port), url, str(commits)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self._patience = threading.Timer(PATIENCE_S, self.process.terminate)  # which is no SIGKILL
        self._patience.start()
        self.known = 0
        assert self.process.stdout is not None
        self.lines: Iterator[str] = iter(self.process.stdout)

    def at_work(self) -> None:
        """Wait until it is there; what the broker kept for it may come before that is said."""
        for line in self.lines:
            if line == "reached\n":
                return
            self._count(line)
        raise AssertionError("the subscriber did not reach the broker")

    def kept(self) -> Iterator[int]:
        """At each line it says, how many readings of a commit were known; ends with the process."""
        for line in self.lines:
            yield self._count(line)

    def _count(self, line: str) -> int:
        known = int(line.split()[2]) if line.startswith("kept") else 0
        self.known += known
        return known

    def end(self) -> int:
        """Read what it still said, and its exit code."""
        for _ in self.kept():
            pass
        self._patience.cancel()
        assert self.process.stdout is not None
        self.process.stdout.close()
        return self.process.wait(PATIENCE_S)


class Node:
    """Publishes one reading a message, each of a second of its own, and counts what was acknowledged."""

    def __init__(self, port: int) -> None:
        self.acknowledged = 0
        self.published = 0
        self._first_s = wall_millis() // 1000 - 20 * 24 * 3600
        self._news = threading.Condition()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="n1")
        self._client.max_inflight_messages_set(100)
        self._client.on_publish = self._on_publish
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def publish(self, count: int) -> None:
        for n in range(self.published, self.published + count):
            pack = f'[{{"n":"temperature","u":"Cel","v":{n % 40},"t":{self._first_s + n}}}]'
            self._client.publish("slowcorner/shop/n1/senml", pack, qos=1)
        self.published += count

    def wait(self, count: int) -> None:
        """Until the broker acknowledged so many in all."""
        with self._news:
            assert self._news.wait_for(lambda: self.acknowledged >= count, PATIENCE_S)

    def expected(self) -> list[tuple[int, float]]:
        """Time [ms] and value of every reading published."""
        return [((self._first_s + n) * 1000, float(n % 40)) for n in range(self.published)]

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _on_publish(self, *_: Any) -> None:
        with self._news:
            self.acknowledged += 1
            self._news.notify_all()


def in_store(database: Path) -> list[tuple[int, float]]:
    """Time [ms] and value of every reading in the store, read past the program."""
    connection = sqlite3.connect(database)
    try:
        return connection.execute("select time_ms, value from reading order by time_ms").fetchall()
    finally:
        connection.close()


@pytest.mark.mosquitto
@pytest.mark.slow
def test_forty_kills_of_a_subscriber_lose_nothing_and_keep_nothing_twice(
    needs_mosquitto_broker: str, tmp_path: Path
) -> None:
    database = tmp_path / "shop.db"
    url = f"sqlite:///{database}"
    open_store(url).dispose()
    chance = random.Random(3)
    duplicates = between = 0
    with anonymous(needs_mosquitto_broker, tmp_path / "broker") as broker:
        first = Doomed(broker.port, url, 0)  # from here on the broker keeps a session for it
        first.at_work()
        first.process.kill()
        assert first.end() == -signal.SIGKILL
        node = Node(broker.port)
        for kill in range(KILLS):
            before_acknowledging = kill % 2 == 0
            doomed = Doomed(broker.port, url, chance.randint(1, 3) if before_acknowledging else 0)
            node.publish(LOAD)
            if before_acknowledging:
                between += 1
            else:
                doomed.at_work()
                node.wait(node.published - chance.randint(0, LOAD - 1))
                doomed.process.kill()
            assert doomed.end() == -signal.SIGKILL
            duplicates += doomed.known
        node.publish(LOAD)
        node.wait(node.published)
        node.stop()
        last = Doomed(broker.port, url, 0)
        for _ in last.kept():
            if len(in_store(database)) >= node.published:
                break
        last.process.kill()
        assert last.end() == -signal.SIGKILL
        duplicates += last.known
    assert between == KILLS // 2
    assert in_store(database) == node.expected()
    assert duplicates > 0, "no batch was sent again: the kills did not hit between commit and acknowledgement"
    print(
        f"\n{KILLS} kills, {between} of them between commit and acknowledgement: {node.acknowledged} messages"
        f" acknowledged by the broker, 0 lost, {duplicates} duplicates ignored"
    )
