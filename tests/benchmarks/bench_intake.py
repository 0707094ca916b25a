"""How many messages a second are acknowledged with each one on the disk, as a share of the raw receive rate.

    python -m tests.benchmarks.bench_intake [messages]

Clients in a process of their own publish SenML packs (two readings each) with quality of service 1 to the
real listener; the clock runs from the first PUBLISH to the last PUBACK. "received" has a sink that stores
nothing: it is what the listener takes in and reads. "stored" commits every batch to the real store (SQLite,
write-ahead log, synchronous=FULL). Each line is the median of five runs. The database is in the folder
for temporary files: how fast its disk is decides.
"""

import asyncio
import multiprocessing
import statistics
import sys
import tempfile
from collections.abc import Awaitable, Callable, Sequence
from multiprocessing.pool import Pool
from pathlib import Path
from time import perf_counter

from sensors.clock import SetClock, parse_time
from sensors.intake.batch import Batcher
from sensors.intake.encoder import encode
from sensors.intake.listener import Listener
from sensors.intake.message import Message
from sensors.intake.packets import Connect, Publish
from server.store import readings
from server.store.engine import Engine, open_store

NOW = parse_time("2026-03-02T06:00:00Z")
RUNS = 5
PUBACK_BYTES = 4


def packets(client: int, count: int, run: int) -> list[bytes]:
    """Messages that differ in their time, so that each brings new readings."""
    node = f"n{client}"
    written = []
    for n in range(count):
        time = NOW / 1000 - 2_000_000 + run * 100_000 + n
        pack = f'[{{"bt":{time},"n":"temperature","u":"Cel","v":21.5}},{{"n":"humidity","u":"%RH","v":47}}]'
        written.append(encode(Publish(f"slowcorner/shop/{node}/senml", pack.encode(), 1, n % 65535 + 1)))
    return written


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


def publish_all(port: int, clients: int, window: int, each: int, run: int) -> float:
    """The clients' process: seconds from the first PUBLISH to the last PUBACK."""
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
    work = (listener.address[1], clients, window, each, run)
    seconds = await asyncio.to_thread(pool.apply, publish_all, work)
    await listener.stop()
    assert listener.counts.messages == clients * each
    assert listener.counts.rejected == 0
    return clients * each / seconds


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


async def compare(pool: Pool, clients: int, window: int, total: int) -> None:
    """Print one line: received, stored, the share, and the messages in a commit."""
    raw: list[float] = []
    stored: list[float] = []
    commits: list[int] = []
    with tempfile.TemporaryDirectory() as folder:
        engine = open_store(f"sqlite:///{Path(folder) / 'bench.db'}")
        for run in range(RUNS):
            raw.append(await measure(received, pool, clients, window, total // clients, run))
            batcher = Batcher(lambda messages: keep(engine, messages), commits.append)
            stored.append(await measure(batcher.put, pool, clients, window, total // clients, run))
            await batcher.close()
        engine.dispose()
    share = statistics.median(s / r for s, r in zip(stored, raw, strict=True))
    print(
        f"{clients:4d} {window:9d} {statistics.median(raw):11,.0f}/s {statistics.median(stored):11,.0f}/s"
        f" {share:8.2f} {statistics.mean(commits):10.0f}"
    )


async def main(total: int) -> None:
    """All the comparisons."""
    print(f"{total} messages of two readings a run, {RUNS} runs")
    print("clients in flight     received       stored    share  a commit")
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        for clients, window in ((1, 1), (1, 20), (20, 20), (1, 1000)):
            await compare(pool, clients, window, total if window > 1 else total // 10)


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000))
