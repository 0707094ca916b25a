"""The shop of 40 trees that the page's benchmark serves, and its service as a process of its own."""

import http.client
import json
import math
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self

from scheduler.causes import CAUSES
from sensors.air import BLOCK_MS
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from server.data_folder import DATABASE
from server.store import dips, places, readings, recipes, shop, subscriptions, trees
from server.store.engine import open_store
from server.store.values import NewDip, NewTree, Place, TreeSpot
from server.telling import CAUSES_SETTING, GATHER_SETTING, QUIET_SETTING
from tests.service.fake_shop import NOON
from tests.service.push_service import PushService

TREES, PLACE, NODE = 40, "drying-room", "wall"
TEMP_C, RH_PCT, SPEED_M_S = 24.0, 38.0, 1.2
SWAY_MS = 3 * HOUR_MS
NAMES = "Heron Bittern Snipe Avocet Dunlin Teal Curlew Plover Godwit Whimbrel Ruff Knot Rail Crake Coot Grebe"
SPOTS = ("face", "joint:90", "joint:75", "pocket:20x12", "joint:105", "pocket:25x10")
SPOT_NAMES = ("body", "gate joint", "wing joint", "beak pocket", "vent joint", "base hollow")


def furnish(folder: Path, service: PushService) -> None:
    """Forty trees in brisk dry air, dipped one after the other over the last hours; one phone is told."""
    engine = open_store(f"sqlite:///{folder / DATABASE}")
    places.add_place(engine, Place(PLACE, "Drying room", SPEED_M_S))
    recipe = recipes.ensure_default(engine)
    # What is told together after a first message is late on purpose, and so is what comes in the night.
    shop.set_setting(engine, GATHER_SETTING, 0)
    shop.set_setting(engine, QUIET_SETTING, ["00:00", "00:00"])
    shop.set_setting(engine, CAUSES_SETTING, {cause.code: cause.code == "fit" for cause in CAUSES})
    said = [
        Reading(PLACE, NODE, name, unit, value, moment)
        for moment in range(NOON - DAY_MS, NOON, BLOCK_MS)
        for name, unit, value in zip(("temperature", "humidity"), ("Cel", "%RH"), air_at(moment), strict=True)
    ]
    readings.keep(engine, said, (), (), NOON - 1)
    for number in range(TREES):
        name = f"{NAMES.split()[number % 16]} {number // 16 + 1}"
        other = 1 + number % (len(SPOTS) - 1)
        spots = (TreeSpot("face", "body"), TreeSpot(SPOTS[other], SPOT_NAMES[other]))
        hook, size_mm = f"{'ABCD'[number % 4]}{number // 4}", 15.0 + number
        tree = trees.add_tree(engine, NewTree(name, hook, PLACE, recipe.id, size_mm, spots), NOON - DAY_MS)
        for coat in reversed(range(1 + number % 4)):
            at = NOON - 5 * MINUTE_MS * (number + 1) - coat * 4 * HOUR_MS
            dips.add_dip(engine, NewDip(tree.id, at, at))
    phone = service.new_phone()
    subscriptions.subscribe(engine, phone.endpoint, phone.p256dh, phone.auth, NOON)
    engine.dispose()


def air_at(moment: Millis) -> tuple[float, float]:
    """The air's temperature [°C] and humidity [%RH] at a moment [ms], as a sensor says them.

    It sways by the hour: a sensor that says one figure for two days is stuck, and nothing is judged by it.
    """
    sway = math.sin(2.0 * math.pi * moment / SWAY_MS)
    return round(TEMP_C + 0.4 * sway, 1), round(RH_PCT - 1.5 * sway, 1)


@dataclass
class Running:
    """The service's process, and how to ask it."""

    process: subprocess.Popen[str]
    port: int
    _said: list[str] = field(default_factory=list)
    _line: threading.Condition = field(default_factory=threading.Condition)
    _orders: threading.Lock = field(default_factory=threading.Lock)

    def hear(self) -> None:
        """Read on what it prints, in a thread."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            with self._line:
                self._said.append(line)
                self._line.notify_all()

    def leap(self, millis: Millis) -> Millis:
        """Have shop time leap ahead; the shop's time then."""
        return self._order(millis)[0]

    def pages_made(self) -> int:
        """How often the rack's page was made anew so far, rather than shown as it was kept."""
        return self._order(0)[2]

    def _order(self, millis: Millis) -> tuple[Millis, Millis, int]:
        with self._orders, self._line:
            known = len(self._said)
            assert self.process.stdin is not None
            self.process.stdin.write(f"{millis}\n")
            self.process.stdin.flush()
            while True:
                told = [line for line in self._said[known:] if line.startswith("now ")]
                if told:
                    now, judged, made = (int(word) for word in told[0].split()[1::2])
                    return now, judged, made
                assert self._line.wait(10)

    def tell_air(self, moment: Millis) -> None:
        """A node says the air at a moment, over HTTP; returns once it is on the disk."""
        temp_c, rh_pct = air_at(moment)
        pack = [
            {"bt": moment / 1000, "n": "temperature", "u": "Cel", "v": temp_c},
            {"bt": moment / 1000, "n": "humidity", "u": "%RH", "v": rh_pct},
        ]
        with Asker(self.port) as asker:
            status, _, body = asker.ask("POST", f"/api/readings?place={PLACE}&node={NODE}", pack)
            assert status == 201, body

    def catch_up(self, moment: Millis, longest_s: float = 30.0) -> None:
        """Wait until every tree is judged up to the block that ended by `moment` [ms]."""
        ends, block = time.perf_counter() + longest_s, moment // BLOCK_MS * BLOCK_MS
        while self._order(0)[1] < block:
            assert time.perf_counter() < ends, f"the trees were not judged within {longest_s:.0f} s"
            time.sleep(0.02)

    def memory(self) -> int:
        """What it holds in memory [bytes]."""
        return int(Path(f"/proc/{self.process.pid}/statm").read_text().split()[1]) * os.sysconf(
            "SC_PAGE_SIZE"
        )

    def settle(self, longest_s: float = 180.0) -> None:
        """Wait until it has next to nothing to do: a twentieth of a core in a second."""
        ends, used = time.perf_counter() + longest_s, self.busy_s()
        while time.perf_counter() < ends:
            time.sleep(1.0)
            before, used = used, self.busy_s()
            if used - before <= 0.05:
                return
        raise AssertionError(f"the service had not done its work after {longest_s:.0f} s")

    def busy_s(self) -> float:
        """How long it kept a core busy so far [s]."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Asker:
    """One connection to the service, kept open as a browser keeps it."""

    def __init__(self, port: int) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._connection.close()

    def ask(
        self, method: str, path: str, said: object = None, headers: dict[str, str] | None = None
    ) -> tuple[int, int, bytes]:
        """Status, bytes of the answer with its head as they came over the wire, and its body."""
        body = None if said is None else json.dumps(said)
        heads = {"Content-Type": "application/json"} if said is not None else {}
        self._connection.request(method, path, body, {**heads, **(headers or {})})
        answer = self._connection.getresponse()
        content = answer.read()
        head = sum(len(name) + len(value) + 4 for name, value in answer.getheaders())
        return answer.status, head + len("HTTP/1.1 200 OK\r\n\r\n") + len(content), content

    def rack(self) -> list[dict[str, Any]]:
        """The trees as the API tells them."""
        found: list[dict[str, Any]] = json.loads(self.ask("GET", "/api/rack")[2])["trees"]
        return found


@contextmanager
def running(folder: Path) -> Iterator[Running]:
    """The service over that folder, once it answers."""
    command = [sys.executable, "-m", "tests.benchmarks.page_process", str(folder)]
    pipe = subprocess.PIPE
    with (
        (folder / "log").open("w") as log,
        subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=log, text=True) as process,
    ):
        assert process.stdout is not None
        for line in process.stdout:
            found = re.search(r"The rack is at {2}http://127\.0\.0\.1:(\d+)", line)
            if found:
                break
        service = Running(process, int(found[1] if found else 0))
        thread = threading.Thread(target=service.hear, daemon=True)
        thread.start()
        try:
            yield service
        finally:
            process.terminate()
            process.wait(120)
            thread.join()
