"""The real service while libfaketime steps the clock under it, as when a laptop slept."""

import os
import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from sensors.clock import HOUR_MS, MINUTE_MS, Millis, parse_time, wall_millis
from server.believing import set_believed
from server.shop_hours import ZONE_SETTING
from server.store import dips, places, recipes, shop, trees
from server.store.engine import open_store
from server.store.values import NewDip, NewTree, TreeSpot
from tests.faults.test_killed import PLACE, Node, Running, packs

SLEPT_MS = 6 * HOUR_MS
PATIENCE_S = 60.0
NAMES = ("Heron", "Teal", "Snipe", "Dunlin", "Wren", "Plover")
ON_FOR_MS = 2 * HOUR_MS
"""How long the coats have been on when the machine falls asleep [ms]: they come fit while it sleeps."""


class SteppedClock:
    """The clock of a process: the machine's own, and so much more as a file says."""

    def __init__(self, file: Path, library: Path, at: Millis) -> None:
        self._file, self.ahead_s = file, round((at - wall_millis()) / 1000)
        self.env = os.environ | {
            "LD_PRELOAD": str(library),
            "FAKETIME_TIMESTAMP_FILE": str(file),
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            # Not at every look at a clock: that would be a file opened and read thousands of times a second.
            "FAKETIME_CACHE_DURATION": "1",
            # Else files seem younger than they are, and the compiled kernel is taken for stale.
            "NO_FAKE_STAT": "1",
        }
        self.step(0)

    def step(self, by: Millis) -> None:
        """Step the clock, within a second: the file is there whole or not at all."""
        self.ahead_s += by // 1000
        new = self._file.with_suffix(".new")
        new.write_text(f"{self.ahead_s:+d}\n")
        new.replace(self._file)


def wait_until(true: Callable[[], bool], what: str) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < deadline, f"not within {PATIENCE_S:g} s: {what}"
        threading.Event().wait(0.1)


def furnish(data: Path, now: Millis) -> None:
    """Six small trees in Helsinki, their first coats on for a while."""
    engine = open_store(f"sqlite:///{data / 'slowcorner.db'}")
    try:
        set_believed(engine, members=4)
        shop.set_setting(engine, ZONE_SETTING, "Europe/Helsinki")
        places.add_place(engine, PLACE)
        recipe = recipes.ensure_default(engine)
        for number, name in enumerate(NAMES):
            new = NewTree(name, f"A{number + 1}", PLACE.id, recipe.id, 25.0, (TreeSpot("face", "body"),))
            tree = trees.add_tree(engine, new, now - 10 * HOUR_MS)
            at = now - ON_FOR_MS + number * 5 * MINUTE_MS
            dips.add_dip(engine, NewDip(tree.id, at, said_at=at))
    finally:
        engine.dispose()


def notices(data: Path) -> list[tuple[str, str, str]]:
    """Key, title and state of every notice in the store, read past the service."""
    connection = sqlite3.connect(data / "slowcorner.db")
    try:
        return connection.execute("select key, title, state from notice order by id").fetchall()
    finally:
        connection.close()


def publish(running: Running, start: Millis, end: Millis) -> None:
    """Have a node tell the air of [start, end) and wait until all of it is acknowledged."""
    node = Node(packs(start, end))
    client = node.send(running.mqtt_port, until=len(node.said))
    try:
        assert node.enough.wait(PATIENCE_S)
    finally:
        client.disconnect()
        client.loop_stop()


def states(running: Running) -> list[str]:
    return [tree["state"] for tree in running.get("/api/rack")["trees"]]


@pytest.mark.slow
@pytest.mark.parametrize("asleep_at", ["2026-03-02T08:00:00Z", "2026-03-29T00:00:00Z"])
def test_six_hours_asleep_are_one_summary(needs_faketime: Path, tmp_path: Path, asleep_at: str) -> None:
    """By day, and through the hour that Helsinki leaves out in the night to 29 March."""
    begins = parse_time(asleep_at)
    furnish(tmp_path, begins)
    clock = SteppedClock(tmp_path / "clock", needs_faketime, begins)
    running = Running(tmp_path, commits=0, env=clock.env)
    try:
        publish(running, begins - 9 * HOUR_MS, begins)
        wait_until(lambda: states(running) == ["drying"] * 6, "six trees drying")
        assert notices(tmp_path) == []
        clock.step(SLEPT_MS)
        # Nothing is said meanwhile: it is the jobs' own beat that sees how long the air was not known.
        wait_until(lambda: states(running) == ["unsure"] * 6, "the jobs went on after the sleep")
        publish(running, begins, begins + SLEPT_MS)
        wait_until(lambda: any(key.startswith("together:") for key, _, _ in notices(tmp_path)), "a summary")
        wait_until(lambda: states(running) == ["fit"] * 6, "six trees fit")
        kept = notices(tmp_path)
        summary = "6 trees fit to dip: Heron, Teal, Snipe, Dunlin and 2 more"
        assert [title for _, title, state in kept if state == "told"] == [summary]
        assert sorted(title for _, title, state in kept if state == "within") == sorted(
            f"{name}: fit to dip" for name in NAMES
        )
        assert len(kept) == 1 + len(NAMES)
    finally:
        running.kill()
