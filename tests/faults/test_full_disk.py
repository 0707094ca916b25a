"""A full disk: nothing more is acknowledged, every page tells, and it goes on when there is room."""

import asyncio
import sqlite3
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import event

from sensors.clock import SetClock, parse_time
from sensors.intake.encoder import encode
from sensors.intake.packets import Connect, Publish
from server.app import Service
from server.settings import Settings
from server.store import readings
from server.store.engine import open_store
from tests.air.wire import run

NOON = parse_time("2026-03-02T12:00:00Z")
PAGES_OF_ROOM = 1_000_000
SAID = "no room left on the disk"


class Disk:
    """The room that SQLite finds for its file, by its own limit: over it is SQLITE_FULL, as of a disk."""

    def __init__(self, engine: Any) -> None:
        self._full = False
        event.listen(engine, "checkout", self._limit)

    def fill(self, full: bool) -> None:
        self._full = full

    def _limit(self, connection: sqlite3.Connection, *_: object) -> None:
        # A limit below the pages that are there is taken for as many as are there.
        connection.execute(f"PRAGMA max_page_count = {1 if self._full else PAGES_OF_ROOM}")


async def publish(port: int, packs: int, at_s: int) -> int:
    """A node's connection: publishes so many packs of 50 readings, gives how many were acknowledged."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(encode(Connect("node")))
    await reader.readexactly(4)
    acknowledged = 0
    for pack in range(packs):
        records = (f'{{"n":"temperature","u":"Cel","v":21.5,"t":{at_s - 50 * pack - n}}}' for n in range(50))
        payload = f"[{','.join(records)}]".encode()
        writer.write(encode(Publish("slowcorner/shop/n1/senml", payload, 1, pack + 1)))
        if not await reader.read(4):
            break
        acknowledged += 1
    writer.close()
    return acknowledged


def test_a_full_disk_stops_the_acknowledging_is_told_and_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    engine = open_store(f"sqlite:///{tmp_path / 'slowcorner.db'}")
    disk = Disk(engine)
    service = Service(Settings(data=tmp_path, port=0, mqtt="listen://127.0.0.1:0"), engine, SetClock(NOON))
    at_s = NOON // 1000

    def kept() -> int:
        return len(readings.node_readings(engine, "n1", 0, 2 * NOON))

    async def main() -> None:
        async with service.running():
            transport = httpx.ASGITransport(service.web())
            web = httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000")
            port = service.mqtt.address[1]

            async def told() -> tuple[bool, ...]:
                answers = [await web.get(path) for path in ("/readyz", "/", "/air")]
                return tuple(SAID in answer.text for answer in answers)

            assert await publish(port, 3, at_s) == 3
            assert await told() == (False, False, False)

            disk.fill(full=True)
            acknowledged = await publish(port, 100, at_s - 10_000)
            assert acknowledged < 100  # what was free within the file is used up first
            assert kept() == 50 * (3 + acknowledged)
            assert await told() == (True, True, True)
            assert await publish(port, 1, at_s - 30_000) == 0

            disk.fill(full=False)
            assert await publish(port, 1, at_s - 30_000) == 1
            assert kept() == 50 * (3 + acknowledged + 1)
            assert await told() == (False, False, False)
            await web.aclose()

    run(main())
    engine.dispose()
    assert "cannot be stored and are not acknowledged until they can" in caplog.text
