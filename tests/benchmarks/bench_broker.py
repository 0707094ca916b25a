"""How many messages a second come through Mosquitto into the store, as a share of a bare subscriber's rate.

    python -m tests.benchmarks.bench_broker [messages]

A process of its own publishes SenML packs (two readings each) with quality of service 1 from 20 clients to a
real Mosquitto. "bare" is paho's own subscriber, which acknowledges each message and drops it: once as paho
comes ("bare 3.1.1"), and once asking for all that the service asks for ("bare 5": MQTT 5, a lasting session).
"stored" is the service's, which acknowledges when a batch is in the real store (SQLite, write-ahead log,
synchronous=FULL). Its threads give way to each other as soon as the service's do, and garbage is looked for
as seldom; this for all three.

All have a broker of their own with the same settings, and the same messages, published in the same way; they
take turns, another one first in each run. The clock runs from the first message to the last one taken, or
stored. Once while it is being published ("live"), where the publisher has a share of the machine that it
takes from all of them alike; and once from what waited at the broker for a session that lasts ("waiting"),
where nobody publishes. Medians of the runs: messages a second, and beside it the microseconds of the
processor that the subscriber's process was busy with a message, which say more where others are at work on
the machine. The shares are of medians.

The bar is 0.85 of paho's raw rate; for each of the two that may be meant it is said whether it is met.
"""

import asyncio
import gc
import itertools
import multiprocessing
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from multiprocessing.pool import Pool
from pathlib import Path
from time import perf_counter, process_time
from typing import Any, NamedTuple

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTProtocolVersion

from sensors.clock import SetClock
from sensors.intake import broker_client
from sensors.intake.batch import Batcher
from sensors.intake.broker import Broker
from sensors.intake.message import Message
from sensors.intake.subscriber import Subscriber
from server.running import GARBAGE_AFTER, GIVE_WAY_S
from server.store import readings
from server.store.engine import open_store
from tests.air.mosquitto import Mosquitto
from tests.benchmarks.bench_intake import NOW, publish_all

RUNS = 7
BAR = 0.85
CLIENTS, WINDOW = 20, 20
TOPICS = "slowcorner/+/+/senml"


KINDS = {"bare 3.1.1": MQTTProtocolVersion.MQTTv311, "bare 5": MQTTProtocolVersion.MQTTv5, "stored": None}


class Span(NamedTuple):
    """How long something took by the clock, and of the processor [s]."""

    seconds: float
    busy: float


class Watch:
    """Runs from the first `begin`."""

    def __init__(self) -> None:
        self._began: tuple[float, float] | None = None

    def begin(self) -> None:
        """Start, unless it runs."""
        if self._began is None:
            self._began = perf_counter(), process_time()

    def read(self) -> Span:
        """How long it runs."""
        assert self._began is not None
        return Span(perf_counter() - self._began[0], process_time() - self._began[1])


def bare(port: int, total: int, version: MQTTProtocolVersion, reached: Callable[[], None]) -> Span:
    """What paho takes to receive and acknowledge so many messages, and to drop them."""
    broker = Broker("127.0.0.1", port, "slowcorner-bench")
    client = broker_client.made(broker, version, Client)
    client.manual_ack_set(False)
    watch, count = Watch(), itertools.count(1)
    spans: list[Span] = []

    def on_message(*_: Any) -> None:
        watch.begin()
        if next(count) == total:
            spans.append(watch.read())
            client.disconnect()

    def connected(*_: Any) -> None:
        broker_client.subscribe(client, [(TOPICS, 1)])

    client.on_message = on_message
    client.on_connect = connected
    client.on_subscribe = lambda *_: reached()
    broker_client.connect(client, broker)
    client.loop_forever()
    return spans[0]


async def _stored(port: int, url: str, total: int, reached: Callable[[], None]) -> Span:
    engine = open_store(url)
    watch = Watch()
    count = 0
    done = asyncio.Event()

    def commit(messages: Sequence[Message]) -> int:
        said = [reading for message in messages for reading in message.readings]
        readings.keep(engine, said, [], [], messages[-1].arrived)
        return len(messages)

    def committed(new: int) -> None:
        nonlocal count
        count += new
        if count >= total:
            done.set()

    batcher = Batcher(commit, committed)

    def sink(message: Message) -> asyncio.Future[None]:
        watch.begin()
        return batcher.put(message)

    broker = Broker("127.0.0.1", port, "slowcorner-bench")
    subscriber = Subscriber(broker, sink, SetClock(NOW), on_reached=reached)
    await subscriber.start()
    await done.wait()
    span = watch.read()
    await subscriber.stop()
    await batcher.close()
    kept = len(readings.node_readings(engine, "n0", 0, 2 * NOW))
    assert kept == 2 * total // CLIENTS, f"{kept} readings of the first node are in the store"
    engine.dispose()
    return span


def measure(pool: Pool, folder: Path, kind: str, total: int, live: bool) -> Span:
    """One run, over a broker and a store of its own."""
    lines = ("allow_anonymous true", "max_queued_messages 0", "max_inflight_messages 1000")
    with Mosquitto("/usr/sbin/mosquitto", folder, *lines) as broker:
        work = (broker.port, CLIENTS, WINDOW, total // CLIENTS, 0)

        def publish() -> None:
            pool.apply_async(publish_all, work)

        def take(reached: Callable[[], None]) -> Span:
            version = KINDS[kind]
            if version is not None:
                return bare(broker.port, total, version, reached)
            return asyncio.run(_stored(broker.port, f"sqlite:///{folder / 'bench.db'}", total, reached))

        if live:
            return take(publish)
        # Make the broker keep a session under the same name, and fill it before anybody reads.
        words = ["mosquitto_sub", "-p", str(broker.port), "-i", "slowcorner-bench", "-c", "-q", "1"]
        subprocess.run([*words, "-t", TOPICS, "-E"], check=True)
        pool.apply(publish_all, work)
        return take(lambda: None)


def compare(pool: Pool, folder: Path, total: int, live: bool) -> None:
    """All the kinds in turn, in one of the two ways; print what they came to."""
    spans: dict[str, list[Span]] = {kind: [] for kind in KINDS}
    kinds = list(KINDS)
    for run in range(RUNS):
        first = run % len(kinds)
        for kind in kinds[first:] + kinds[:first]:
            spans[kind].append(measure(pool, folder / f"{kind}-{live}-{run}", kind, total, live))
    rates = {kind: total / statistics.median(one.seconds for one in found) for kind, found in spans.items()}
    busy = {kind: statistics.median(one.busy for one in found) / total for kind, found in spans.items()}
    said = "".join(f" {rates[kind]:9,.0f}/s {busy[kind] * 1e6:3.0f} µs" for kind in KINDS)
    print(f"{'live' if live else 'waiting':8s}{said}")
    for kind in kinds[:-1]:
        share = rates["stored"] / rates[kind]
        print(f"{'':8s} {share:.2f} of {kind}'s, bar {BAR}: {'met' if share >= BAR else 'not met'}")


def main(total: int) -> None:
    """Print what the two ways came to."""
    sys.setswitchinterval(GIVE_WAY_S)
    gc.set_threshold(GARBAGE_AFTER, *gc.get_threshold()[1:])
    print(f"{total} messages of two readings a run, {RUNS} runs")
    print("               bare 3.1.1           bare 5           stored")
    with multiprocessing.get_context("spawn").Pool(1) as pool, tempfile.TemporaryDirectory() as folder:
        for live in (True, False):
            compare(pool, Path(folder), total, live)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
