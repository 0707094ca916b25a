"""SIGKILL at any moment loses no acknowledged reading, changes no verdict and repeats no notice.

Ten kills of the real service under load from a real MQTT client: half at a random moment, half between the
commit of a batch and its acknowledgement.
"""

import json
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from sensors.air import PlaceAir
from sensors.clock import HOUR_MS, MINUTE_MS, Millis, format_time, wall_millis
from sensors.reading import Reading
from server.believing import believed, prior_ensemble, set_believed
from server.coat_verdicts import coat_verdicts
from server.following import coat_dip, judged_tree
from server.judging import TreeJudge
from server.store import dips, places, readings, recipes, trees
from server.store.engine import open_store
from server.store.values import NewDip, NewTree, Place, TreeSpot

KILLS = 10
STEP_MS = 5 * MINUTE_MS
PLACE = Place("drying-room", "Drying room", 0.6)


def furnish(url: str, start: Millis) -> int:
    """A tree with two coats on, the second over the first when that was fit."""
    engine = open_store(url)
    try:
        set_believed(engine, members=4)
        places.add_place(engine, PLACE)
        recipe = recipes.ensure_default(engine)
        spots = (TreeSpot("face", "body"), TreeSpot("joint:45", "vent joint"))
        tree = trees.add_tree(engine, NewTree("Heron", "A1", PLACE.id, recipe.id, 25.0, spots), start)
        for hours in (0.5, 13.0):
            at = start + round(hours * HOUR_MS)
            dips.add_dip(engine, NewDip(tree.id, at, said_at=at))
        return tree.id
    finally:
        engine.dispose()


def packs(start: Millis, end: Millis) -> list[tuple[Millis, bytes]]:
    """What one node says, five minutes apart: air that swings a little."""
    swing = random.Random(5)
    said = []
    for moment in range(start, end, STEP_MS):
        temp_c, rh_pct = round(20.0 + swing.uniform(-1, 1), 2), round(48.0 + swing.uniform(-4, 4), 2)
        pack = [
            {"bn": "drying-room/n1/", "bt": moment // 1000, "n": "temperature", "u": "Cel", "v": temp_c},
            {"n": "humidity", "u": "%RH", "v": rh_pct},
        ]
        said.append((moment, json.dumps(pack).encode()))
    return said


class Running:
    """The service in a process of its own."""

    def __init__(self, data: Path, commits: int, env: Mapping[str, str] | None = None) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.killed_service", str(data), str(commits)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=env,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        found = re.search(r"http://([\d.]+):(\d+).*MQTT listener at [\d.]+:(\d+)", line)
        assert found is not None, f"the service did not say where it is: {line!r}"
        self.page = f"http://{found[1]}:{found[2]}"
        self.mqtt_port = int(found[3])

    def get(self, path: str) -> Any:
        """What the API answers."""
        with urllib.request.urlopen(self.page + path, timeout=60) as answer:
            return json.load(answer)

    def kill(self) -> None:
        """End it with no warning."""
        self.process.kill()
        self.wait()

    def wait(self) -> int:
        """Wait until it is gone; its exit code."""
        assert self.process.stdout is not None
        code = self.process.wait(timeout=60)
        self.process.stdout.close()
        return code


class Node:
    """A node that sends its packs in order, few in flight, and knows which were acknowledged."""

    def __init__(self, said: Sequence[tuple[Millis, bytes]]) -> None:
        self.said = said
        self.acknowledged: set[int] = set()
        self.enough = threading.Event()
        self.gone = threading.Event()

    def send(self, port: int, until: int) -> mqtt.Client:
        """Send all that is not acknowledged: `enough` is set once so many were, `gone` at the line's end."""
        self.enough.clear()
        self.gone.clear()
        waiting = [index for index in range(len(self.said)) if index not in self.acknowledged]
        by_mid: dict[int, int] = {}
        lock = threading.Lock()
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="n1", reconnect_on_failure=False)
        client.max_inflight_messages_set(20)

        def on_connect(connected: mqtt.Client, *_: Any) -> None:
            with lock:
                for index in waiting:
                    sent = connected.publish("slowcorner/drying-room/n1/senml", self.said[index][1], qos=1)
                    by_mid[sent.mid] = index

        def on_publish(_client: mqtt.Client, _userdata: Any, mid: int, *_: Any) -> None:
            with lock:
                self.acknowledged.add(by_mid[mid])
                if len(self.acknowledged) >= until:
                    self.enough.set()

        def on_disconnect(*_: Any) -> None:
            self.gone.set()

        client.on_connect, client.on_publish, client.on_disconnect = on_connect, on_publish, on_disconnect
        client.connect("127.0.0.1", port, keepalive=30)
        client.loop_start()
        return client


def kept(database: Path) -> tuple[set[Millis], dict[str, int]]:
    """The times of the readings and how often each notice is in the store, read past the service."""
    connection = sqlite3.connect(database)
    try:
        times = [row[0] for row in connection.execute("select time_ms from reading")]
        assert len(times) == 2 * len(set(times)), "temperature and humidity of a pack go together"
        keys = dict(connection.execute("select key, count(*) from notice group by key").fetchall())
        return set(times), keys
    finally:
        connection.close()


def judged_from_scratch(url: str, tree_id: int, now: Millis) -> tuple[Millis | None, ...]:
    """When each coat came fit, from the readings in the store and nothing else."""
    engine = open_store(url)
    try:
        tree = trees.tree(engine, tree_id)
        assert tree is not None
        air = PlaceAir(PLACE.speed_m_s)
        said: Sequence[Reading] = readings.place_readings(engine, PLACE.id, 0, now)
        air.add(said)
        judge = TreeJudge(
            judged_tree(tree),
            tuple(coat_dip(tree, dip) for dip in dips.dips(engine, tree_id)),
            air,
            ensemble=prior_ensemble(engine, believed(engine)),
        )
        judge.advance(now)
        assert judge.state is not None
        return tuple(
            verdict.fit_at.p50 for verdict in coat_verdicts(judge.tree, judge.state.coats, judge.ensemble)
        )
    finally:
        engine.dispose()


def wait_for_coats(running: Running, tree_id: int) -> list[dict[str, Any]]:
    """The coats once the newest is judged fit; the judge wakes by itself, so this asks until a deadline."""
    deadline = time.monotonic() + 60.0
    while True:
        coats: list[dict[str, Any]] = running.get(f"/api/trees/{tree_id}/history")["coats"]
        if coats and coats[-1]["fit_at"]["p50"] is not None:
            return coats
        assert time.monotonic() < deadline, f"the newest coat did not come fit: {coats}"
        threading.Event().wait(0.2)


def wait_for_notice(database: Path, beginning: str) -> None:
    """A notice of that kind is in the store: it is told after the verdict, in its own time."""
    deadline = time.monotonic() + 60.0
    while not any(key.startswith(beginning) for key in kept(database)[1]):
        assert time.monotonic() < deadline, f"no notice {beginning}… in the store"
        threading.Event().wait(0.2)


@pytest.mark.slow
def test_ten_kills_lose_change_and_repeat_nothing(tmp_path: Path) -> None:
    data = tmp_path / "data"
    data.mkdir()
    database = data / "slowcorner.db"
    url = f"sqlite:///{database}"
    now = wall_millis()
    start = (now - 30 * HOUR_MS) // HOUR_MS * HOUR_MS
    tree_id = furnish(url, start)
    node = Node(packs(start, now))
    chance = random.Random(11)
    share = len(node.said) // (KILLS + 1)
    seen_fit: dict[int, str] = {}
    seen_notices: set[str] = set()
    between = 0
    for kill in range(KILLS):
        before_ack = kill % 2 == 0
        running = Running(data, commits=chance.randint(2, 4) if before_ack else 0)
        client = node.send(running.mqtt_port, until=len(node.acknowledged) + chance.randint(5, share))
        if before_ack:
            assert running.wait() == -signal.SIGKILL
            between += 1
        else:
            assert node.enough.wait(60)
            running.kill()
        assert node.gone.wait(30)
        client.loop_stop()
        times, notices = kept(database)
        lost = [index for index in node.acknowledged if node.said[index][0] not in times]
        assert not lost, f"acknowledged and not in the store after kill {kill}: {lost}"
        assert all(count == 1 for count in notices.values())
        assert seen_notices <= notices.keys(), "a notice that was kept is gone"
        seen_notices = set(notices)
    assert between == KILLS // 2

    running = Running(data, commits=0)
    try:
        client = node.send(running.mqtt_port, until=len(node.said))
        assert node.enough.wait(60)
        client.disconnect()
        client.loop_stop()
        coats = wait_for_coats(running, tree_id)
        for coat in coats:
            if coat["fit_at"]["p50"] is not None:
                seen_fit[coat["number"]] = coat["fit_at"]["p50"]
        wait_for_notice(database, f"fit:{tree_id}:{coats[-1]['number']}:")
    finally:
        running.kill()

    # Started once more, with everything there: the same verdicts, and no notice again.
    _, notices_before = kept(database)
    running = Running(data, commits=0)
    try:
        again = {
            coat["number"]: coat["fit_at"]["p50"]
            for coat in wait_for_coats(running, tree_id)
            if coat["fit_at"]["p50"] is not None
        }
        rack = running.get("/api/rack")
    finally:
        running.kill()
    times, notices_after = kept(database)
    assert times == {moment for moment, _ in node.said}
    assert again == seen_fit
    assert notices_after == notices_before
    assert all(count == 1 for count in notices_after.values())
    fresh = judged_from_scratch(url, tree_id, now)
    assert [format_time(at) for at in fresh if at is not None] == [
        seen_fit[number] for number in sorted(seen_fit)
    ]
    assert rack["trees"][0]["state"] == "fit"
    assert any(key.startswith(f"fit:{tree_id}:") for key in notices_after)
    print(
        f"\n{KILLS} kills, {between} of them between commit and acknowledgement: {len(node.said)} packs"
        f" acknowledged, 0 lost; notices {sorted(notices_after)}"
    )
