"""How many messages a second come through Mosquitto into the store, as a share of a bare subscriber's rate.

    python -m tests.benchmarks.bench_broker [messages]

A process of its own publishes SenML packs (two readings each) with quality of service 1 from 20 clients to a
real Mosquitto. "bare" is paho's own subscriber, which acknowledges each message and drops it: once as paho
comes ("bare 3.1.1"), and once asking for all that the service asks for ("bare 5": MQTT 5, a lasting session).
"stored" is the service's, which acknowledges when a batch is in the real store (SQLite, write-ahead log,
synchronous=FULL). The clock runs from the first message to the last one taken, or stored. Once while it is
being published ("live"), and once from what waited at the broker ("waiting"), where the publisher takes no
share of the machine. Medians of the runs, and of the runs' ratios.

The bar is 0.85 of paho's raw rate.
"""

import asyncio
import multiprocessing
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from multiprocessing.pool import Pool
from pathlib import Path
from time import perf_counter
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTProtocolVersion

from sensors.clock import SetClock
from sensors.intake import broker_client
from sensors.intake.batch import Batcher
from sensors.intake.broker import Broker
from sensors.intake.message import Message
from sensors.intake.subscriber import Subscriber
from server.store import readings
from server.store.engine import open_store
from tests.air.mosquitto import Mosquitto
from tests.benchmarks.bench_intake import NOW, publish_all

RUNS = 5
CLIENTS, WINDOW = 20, 20
TOPICS = "slowcorner/+/+/senml"


KINDS = {"bare 3.1.1": MQTTProtocolVersion.MQTTv311, "bare 5": MQTTProtocolVersion.MQTTv5, "stored": None}


def bare(port: int, total: int, version: MQTTProtocolVersion, reached: Callable[[], None]) -> float:
    """Seconds that paho takes to receive and acknowledge so many messages, and to drop them."""
    broker = Broker("127.0.0.1", port, "slowcorner-bench")
    client = broker_client.made(broker, version, Client)
    client.manual_ack_set(False)
    times: list[float] = []

    def on_message(*_: Any) -> None:
        times.append(perf_counter())
        if len(times) == total:
            client.disconnect()

    def connected(*_: Any) -> None:
        broker_client.subscribe(client, [(TOPICS, 1)])

    client.on_message = on_message
    client.on_connect = connected
    client.on_subscribe = lambda *_: reached()
    broker_client.connect(client, broker)
    client.loop_forever()
    return times[-1] - times[0]


async def _stored(port: int, url: str, total: int, reached: Callable[[], None]) -> float:
    engine = open_store(url)
    began: list[float] = []
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
        if not began:
            began.append(perf_counter())
        return batcher.put(message)

    broker = Broker("127.0.0.1", port, "slowcorner-bench")
    subscriber = Subscriber(broker, sink, SetClock(NOW), on_reached=reached)
    await subscriber.start()
    await done.wait()
    seconds = perf_counter() - began[0]
    await subscriber.stop()
    await batcher.close()
    kept = len(readings.node_readings(engine, "n0", 0, 2 * NOW))
    assert kept == 2 * total // CLIENTS, f"{kept} readings of the first node are in the store"
    engine.dispose()
    return seconds


def measure(pool: Pool, folder: Path, kind: str, total: int, live: bool) -> float:
    """Messages a second of one run, over a broker and a store of its own."""
    lines = ("allow_anonymous true", "max_queued_messages 0", "max_inflight_messages 1000")
    with Mosquitto("/usr/sbin/mosquitto", folder, *lines) as broker:
        work = (broker.port, CLIENTS, WINDOW, total // CLIENTS, 0)

        def publish() -> None:
            pool.apply_async(publish_all, work)

        def take(reached: Callable[[], None]) -> float:
            version = KINDS[kind]
            if version is not None:
                return bare(broker.port, total, version, reached)
            return asyncio.run(_stored(broker.port, f"sqlite:///{folder / 'bench.db'}", total, reached))

        if live:
            return total / take(publish)
        # Make the broker keep a session under the same name, and fill it before anybody reads.
        words = ["mosquitto_sub", "-p", str(broker.port), "-i", "slowcorner-bench", "-c", "-q", "1"]
        subprocess.run([*words, "-t", TOPICS, "-E"], check=True)
        pool.apply(publish_all, work)
        return total / take(lambda: None)


def main(total: int) -> None:
    """Print one line for each way."""
    print(f"{total} messages of two readings a run, {RUNS} runs")
    print("         bare 3.1.1     bare 5     stored   of 3.1.1    of 5   (bar 0.85)")
    with multiprocessing.get_context("spawn").Pool(1) as pool, tempfile.TemporaryDirectory() as folder:
        for live in (True, False):
            rates: dict[str, list[float]] = {kind: [] for kind in KINDS}
            for run in range(RUNS):
                for kind, found in rates.items():
                    place = Path(folder) / f"{kind}-{live}-{run}"
                    found.append(measure(pool, place, kind, total, live))
            middle = {kind: statistics.median(found) for kind, found in rates.items()}
            shares = [
                statistics.median(s / b for s, b in zip(rates["stored"], rates[kind], strict=True))
                for kind in ("bare 3.1.1", "bare 5")
            ]
            name = "live" if live else "waiting"
            print(
                f"{name:8s} {middle['bare 3.1.1']:8,.0f}/s {middle['bare 5']:8,.0f}/s"
                f" {middle['stored']:8,.0f}/s {shares[0]:10.2f} {shares[1]:7.2f}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
