"""Memory: what two hundred nodes cost, and that nothing grows while they talk.

A minute of it; SLOWCORNER_SOAK_S=600 makes it ten. `-s` shows the figures.
"""

import asyncio
import json
import os
import time
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from sensors.intake.encoder import encode
from sensors.intake.packets import Connect, Publish, Will
from tests.faults.test_killed import Running

SOAK_S = float(os.environ.get("SLOWCORNER_SOAK_S", "60"))
NODES = 200
PATIENCE_S = 30.0

CONNECTED_LIMIT_MB = 60.0
"""What the nodes may cost over the idle service."""

GROWTH_LIMIT_MB = 8.0
"""Growth from the second quarter of the soak to the last that is taken for chance (caches of the database
fill, the heap settles). With fifty thousand messages between them, each would have to leave some 150 bytes
behind to be seen in a minute; in ten minutes, some 15."""

MESSAGES_A_CONNECTION = 200
"""After so many a node goes, half of them without a word, and comes back."""


def resident_mb(pid: int) -> float:
    """Memory that a process has in use now, as the system has it [MB]."""
    pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


class Talker:
    """A node: a pack, its acknowledgement, the next one. One in fifty packs is not to be understood."""

    def __init__(self, number: int, port: int) -> None:
        self.acknowledged = 0
        self._began = int(time.time())
        self._topic = f"slowcorner/place-{number % 10}/n{number}"
        self._port = port

    async def connect(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        reader, writer = await asyncio.open_connection("127.0.0.1", self._port)
        will = Will(f"{self._topic}/status", b"offline")
        writer.write(encode(Connect(self._topic, will=will)))
        await reader.readexactly(4)
        return reader, writer

    async def say(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.acknowledged += 1
        # The air's own record is in memory and grows with the air that is told, as it must. So the air is
        # told again and again of the same half hour, as by a node whose acknowledgements get lost, and what
        # is new each time is a weight, which is kept in the store alone.
        slot_s = self._began - 30 * (self.acknowledged % 60)
        pack: list[dict[str, object]] = [
            {"n": "temperature", "u": "Cel", "v": 21.5, "t": slot_s},
            {"n": "humidity", "u": "%RH", "v": 47.0 if self.acknowledged % 50 else "damp", "t": slot_s},
            {"n": "mass", "u": "kg", "v": 7.5, "t": self._began - self.acknowledged / 1000},
        ]
        packet_id = self.acknowledged % 65535 + 1
        writer.write(encode(Publish(f"{self._topic}/senml", json.dumps(pack).encode(), 1, packet_id)))
        await reader.readexactly(4)

    async def talk(self, until: float) -> None:
        while time.monotonic() < until:
            reader, writer = await self.connect()
            for _ in range(MESSAGES_A_CONNECTION):
                await self.say(reader, writer)
                if time.monotonic() >= until:
                    break
            if self.acknowledged % 2:
                writer.write(b"\xe0\x00")  # DISCONNECT
            writer.close()


async def connected_mb(talkers: Sequence[Talker], pid: int) -> float:
    """What the service has in use with every node connected and heard once."""
    async with asyncio.timeout(PATIENCE_S):
        pairs = await asyncio.gather(*(one.connect() for one in talkers))
        await asyncio.gather(*(one.say(*pair) for one, pair in zip(talkers, pairs, strict=True)))
        found = resident_mb(pid)
        for _, writer in pairs:
            writer.write(b"\xe0\x00")
            writer.close()
    return found


async def soak(talkers: Sequence[Talker], pid: int) -> list[float]:
    """What the service has in use, second by second, while every node talks."""
    until = time.monotonic() + SOAK_S
    found: list[float] = []

    async def look() -> None:
        while time.monotonic() < until:
            found.append(resident_mb(pid))
            await asyncio.sleep(1.0)

    async with asyncio.timeout(SOAK_S + PATIENCE_S):
        await asyncio.gather(look(), *(one.talk(until) for one in talkers))
    return found


def test_two_hundred_nodes_cost_little_and_nothing_grows(tmp_path: Path) -> None:
    running = Running(tmp_path, 0)
    try:
        pid = running.process.pid
        running.get("/healthz")
        idle = resident_mb(pid)
        talkers = [Talker(number, running.mqtt_port) for number in range(NODES)]
        cost = asyncio.run(connected_mb(talkers, pid)) - idle
        found = asyncio.run(soak(talkers, pid))
    finally:
        running.kill()
    quarter = len(found) // 4
    early, late = median(found[quarter : 2 * quarter]), median(found[-quarter:])
    said = sum(one.acknowledged for one in talkers)
    print(
        f"\nidle {idle:.0f} MB; {NODES} nodes connected +{cost:.1f} MB (limit {CONNECTED_LIMIT_MB:g});"
        f" {said} messages in {SOAK_S:g} s: {early:.1f} MB, later {late:.1f} MB,"
        f" growth {late - early:+.1f} MB (limit {GROWTH_LIMIT_MB:g})"
    )
    assert said > 500 * SOAK_S, "too few to tell anything"
    assert cost < CONNECTED_LIMIT_MB
    assert late - early < GROWTH_LIMIT_MB
