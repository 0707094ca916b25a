"""A year of one-minute readings from ten nodes: the size of the store, the time of the page of the air.

    python -m tests.benchmarks.bench_year

Prints the size of the store and the time of the page over a day and over a fortnight, first and then again
while readings come in, beside a page of the same program that asks the store for nothing of it (the form of
a new tree). All ten nodes hang in one place, which is the worst case: every minute of each is in one chart.
"""

import math
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from sensors.clock import DAY_MS, MINUTE_MS
from sensors.reading import Reading
from server.store import readings
from server.store.engine import open_store
from tests.service.fake_shop import NOON, Browser, FakeShop

NODES = 10
DAYS = 365
PLACE = "drying-room"
MINUTES = DAYS * DAY_MS // MINUTE_MS
BAR_S, BAR_BYTES = 0.2, 1e9


def fill(path: Path) -> None:
    """Write the year straight into the table: the intake has a benchmark of its own."""
    start = NOON - DAYS * DAY_MS
    with closing(sqlite3.connect(path)) as database:
        for node in range(NODES):
            for name, unit, middle, swing in (
                ("temperature", "Cel", 18.0, 4.0),
                ("humidity", "%RH", 55.0, 12.0),
            ):
                series = database.execute(
                    "INSERT INTO series (place, node, name, unit, heard_ms) VALUES (?, ?, ?, ?, ?)",
                    (PLACE, f"node-{node}", name, unit, NOON),
                ).lastrowid
                rows = (
                    (
                        series,
                        start + minute * MINUTE_MS,
                        round(middle + 0.1 * node + swing * math.sin(minute / 229.0), 2),
                        start + minute * MINUTE_MS + 400,
                    )
                    for minute in range(MINUTES)
                )
                with database:
                    database.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", rows)


def seconds(call: Callable[[], object]) -> float:
    """How long one call takes [s]."""
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def measure(folder: Path) -> bool:
    """Print the figures; True where all of them are within their bars."""
    path = folder / "slowcorner.db"
    engine = open_store(f"sqlite:///{path}")
    shop = FakeShop(engine)
    fill(path)
    size = path.stat().st_size
    print(
        f"{NODES} nodes, {MINUTES} minutes: {2 * NODES * MINUTES / 1e6:.1f} million values, "
        f"{size / 1e6:.0f} MB"
    )
    good = size < BAR_BYTES
    with Browser(shop) as browser:
        plain = statistics.median(seconds(lambda: browser.get("/trees/new")) for _ in range(20))
        print(f"a page without any of it: {plain * 1000:.0f} ms")
        for span in ("day", "fortnight"):
            if span == "fortnight":
                warmed = seconds(lambda: shop.parts.air_history.warm([PLACE], NOON))
                print(f"the hours of a fortnight, made beside the start: {warmed * 1000:.0f} ms")
            first = seconds(lambda span=span: browser.get(f"/air?span={span}"))  # type: ignore[misc]
            again = []
            for minute in range(1, 31):
                shop.clock.time = NOON + minute * MINUTE_MS
                said = [
                    Reading(PLACE, f"node-{node}", name, unit, value, shop.clock.time - 1000)
                    for node in range(NODES)
                    for name, unit, value in (("temperature", "Cel", 18.0), ("humidity", "%RH", 55.0))
                ]
                shop.parts.air_history.heard(readings.keep(engine, said, [], [], shop.clock.time))
                again.append(seconds(lambda span=span: browser.get(f"/air?span={span}")))  # type: ignore[misc]
            middle, worst = statistics.median(again), max(again)
            print(
                f"the air over a {span}: first {first * 1000:.0f} ms, then while readings come in "
                f"{middle * 1000:.0f} ms, at most {worst * 1000:.0f} ms "
                f"({middle / plain:.1f} x the plain page)"
            )
            good = good and max(first, worst) < BAR_S
    print(f"bars: {BAR_BYTES / 1e9:.0f} GB, {BAR_S * 1000:.0f} ms: {'met' if good else 'MISSED'}")
    engine.dispose()
    return good


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        sys.exit(not measure(Path(scratch)))
