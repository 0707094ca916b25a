"""How many messages a second are acknowledged with each one on the disk, as a share of the raw receive rate.

    python -m tests.benchmarks.bench_intake [messages]

Clients in a process of their own publish SenML packs (two readings each) with quality of service 1; the
clock runs from the first PUBLISH to the last PUBACK. They do nothing but write ready-made bytes, except in
the last line, where paho publishes, as a program in the shop would. "broker" is Mosquitto with nobody
subscribed, which stores nothing: the rate of the same clients against a broker in C. "received" is the real
listener with a sink that stores nothing: what it takes in and reads. "stored" commits every batch to the
real store (SQLite, write-ahead log, synchronous=FULL); the threads give way to each other, and garbage is
looked for, as in the service. All in turn, five times; the medians, and the medians of the ratios of a run.
The database is in the folder for temporary files: how fast its disk is decides where few are in flight.

The bars: 20,000 stored a second (20 clients and 100 in flight), and, for paho as the client of both, 0.5 of
its rate against the broker. The lines of ready-made bytes say beside it how a server in C compares where the
client costs next to nothing: for that there is no bar, and most of it is the interpreter.
"""

import asyncio
import gc
import multiprocessing
import statistics
import sys
import tempfile
import threading
from collections.abc import Awaitable, Callable, Sequence
from multiprocessing.pool import Pool
from pathlib import Path
from time import perf_counter
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from sensors.clock import SetClock, parse_time
from sensors.intake.batch import Batcher
from sensors.intake.encoder import encode
from sensors.intake.listener import Listener
from sensors.intake.message import Message
from sensors.intake.packets import Connect, Publish
from server.running import GARBAGE_AFTER, GIVE_WAY_S
from server.store import readings
from server.store.engine import Engine, open_store
from tests.air.mosquitto import Mosquitto

NOW = parse_time("2026-03-02T06:00:00Z")
RUNS = 5
PUBACK_BYTES = 4


def packs(count: int, run: int) -> list[bytes]:
    """Payloads that differ in their time, so that each brings new readings."""
    start = NOW / 1000 - 2_000_000 + run * 100_000
    temp, humid = '"n":"temperature","u":"Cel","v":21.5', '"n":"humidity","u":"%RH","v":47'
    return [f'[{{"bt":{start + n},{temp}}},{{{humid}}}]'.encode() for n in range(count)]


def packets(client: int, count: int, run: int) -> list[bytes]:
    """The same as what is to be written."""
    topic = f"slowcorner/shop/n{client}/senml"
    return [encode(Publish(topic, pack, 1, n % 65535 + 1)) for n, pack in enumerate(packs(count, run))]


async def client(port: int, name: int, messages: Sequence[bytes], window: int, go: asyncio.Event) -> None:
    """Publish all of it with at most `window` in flight."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(encode(Connect(f"bench-{name}")))
    await reader.readexactly(4)
    await go.wait()
    sent, acknowledged, rest = min(window, len(messages)), 0, 0
    writer.write(b"".join(messages[:sent]))
    while acknowledged < len(messages):
        data = await reader.read(65536)
        if not data:
            raise ConnectionError(f"closed after {acknowledged} acknowledgements")
        done, rest = divmod(rest + len(data), PUBACK_BYTES)
        acknowledged += done
        writer.write(b"".join(messages[sent : sent + done]))
        sent = min(sent + done, len(messages))
    writer.close()
    await writer.wait_closed()


async def _publish_all(port: int, clients: int, window: int, each: int, run: int) -> float:
    written = [packets(name, each, run) for name in range(clients)]
    go = asyncio.Event()
    async with asyncio.TaskGroup() as group:
        for name in range(clients):
            group.create_task(client(port, name, written[name], window, go), name=f"client {name}")
        await asyncio.sleep(0.2)  # all are connected and wait
        started = perf_counter()
        go.set()
    return perf_counter() - started


def _publish_by_paho(port: int, window: int, count: int, run: int) -> float:
    said = packs(count, run)
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="bench-paho")
    client.max_inflight_messages_set(window)
    left = iter(range(1, count))
    done = threading.Event()

    def acknowledged(*_: Any) -> None:
        if next(left, None) is None:
            done.set()

    connected = threading.Event()
    client.on_connect = lambda *_: connected.set()
    client.on_publish = acknowledged
    client.connect("127.0.0.1", port)
    client.loop_start()
    connected.wait()
    started = perf_counter()
    for pack in said:
        client.publish("slowcorner/shop/n0/senml", pack, qos=1)
    done.wait()
    seconds = perf_counter() - started
    client.disconnect()
    client.loop_stop()
    return seconds


def publish_all(port: int, clients: int, window: int, each: int, run: int) -> float:
    """The clients' process: seconds from the first PUBLISH to the last PUBACK. No clients: paho's one."""
    if not clients:
        return _publish_by_paho(port, window, each, run)
    return asyncio.run(_publish_all(port, clients, window, each, run))


async def measure(
    sink: Callable[[Message], Awaitable[object]],
    pool: Pool,
    clients: int,
    window: int,
    each: int,
    run: int,
) -> float:
    """Messages a second that one run acknowledges."""
    listener = Listener("127.0.0.1", 0, sink, SetClock(NOW))
    await listener.start()
    rate = await rate_at(listener.address[1], pool, clients, window, each, run)
    await listener.stop()
    assert listener.counts.messages == max(clients, 1) * each
    assert listener.counts.rejected == 0
    return rate


async def rate_at(port: int, pool: Pool, clients: int, window: int, each: int, run: int) -> float:
    """Messages a second that whatever listens there acknowledges."""
    work = (port, clients, window, each, run)
    return max(clients, 1) * each / await asyncio.to_thread(pool.apply, publish_all, work)


def received(_message: Message) -> Awaitable[None]:
    """A sink that stores nothing."""
    done = asyncio.get_running_loop().create_future()
    done.set_result(None)
    return done


def keep(engine: Engine, messages: Sequence[Message]) -> int:
    """A batch into the real store."""
    said = [reading for message in messages for reading in message.readings]
    outcome = readings.keep(engine, said, [], [], messages[-1].arrived)
    assert outcome.new == len(said)
    return len(messages)


async def compare(pool: Pool, folder: Path, clients: int, window: int, total: int) -> tuple[float, float]:
    """Print one line: the three rates, the shares, and the messages in a commit.

    Gives the rate stored [messages/s] and its share of the broker's.
    """
    broker: list[float] = []
    raw: list[float] = []
    stored: list[float] = []
    commits: list[int] = []
    each = total // max(clients, 1)
    engine = open_store(f"sqlite:///{folder / 'bench.db'}")
    lines = ("allow_anonymous true", f"max_inflight_messages {window}")
    with Mosquitto("/usr/sbin/mosquitto", folder / "broker", *lines) as peer:
        for run in range(RUNS):
            broker.append(await rate_at(peer.port, pool, clients, window, each, run))
            raw.append(await measure(received, pool, clients, window, each, run))
            batcher = Batcher(lambda messages: keep(engine, messages), commits.append)
            stored.append(await measure(batcher.put, pool, clients, window, each, run))
            await batcher.close()
    engine.dispose()
    of_broker, of_raw = (
        statistics.median(s / o for s, o in zip(stored, others, strict=True)) for others in (broker, raw)
    )
    print(
        f"{clients or 'paho':>4} {window:9d} {statistics.median(broker):9,.0f}/s"
        f" {statistics.median(raw):9,.0f}/s {statistics.median(stored):9,.0f}/s {max(stored):9,.0f}/s"
        f" {of_broker:9.2f} {of_raw:11.2f} {statistics.mean(commits):10.0f}"
    )
    return statistics.median(stored), of_broker


async def main(total: int) -> None:
    """All the comparisons."""
    sys.setswitchinterval(GIVE_WAY_S)
    gc.set_threshold(GARBAGE_AFTER, *gc.get_threshold()[1:])
    print(f"{total} messages of two readings a run, {RUNS} runs")
    print("clients in flight  broker    received      stored     at best  of broker of received  a commit")
    found: dict[tuple[int, int], tuple[float, float]] = {}
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        for clients, window in ((1, 1), (1, 20), (20, 20), (20, 100), (1, 1000), (0, 1000)):
            with tempfile.TemporaryDirectory() as folder:
                count = total if window > 1 else total // 10
                found[clients, window] = await compare(pool, Path(folder), clients, window, count)
    rate, share = found[20, 100][0], found[0, 1000][1]
    print(f"stored, 20 clients, 100 in flight: {rate:,.0f}/s, bar 20,000/s: {_word(rate >= 20_000)}")
    print(f"of the broker's, the same paho client for both: {share:.2f}, bar 0.50: {_word(share >= 0.5)}")


def _word(is_met: bool) -> str:
    return "met" if is_met else "not met"


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000))
