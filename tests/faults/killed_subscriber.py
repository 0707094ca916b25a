"""Takes messages from a broker into a store, and may die by SIGKILL after a commit, before it acknowledges.

    python -m tests.faults.killed_subscriber PORT DATABASE_URL COMMITS

COMMITS 0 lets it live. Says "reached", and after each commit how many readings were new and how many known.
"""

import asyncio
import os
import signal
import sys
from collections.abc import Sequence

from sensors.clock import real_clock
from sensors.intake.batch import Batcher
from sensors.intake.broker import Broker
from sensors.intake.message import Message
from sensors.intake.subscriber import Subscriber
from server.store import readings
from server.store.engine import open_store
from server.store.values import BatchOutcome

BATCH = 20
"""Messages in a commit at most, so that what is published comes in several."""


def tell(line: str) -> None:
    """Say a line in one write: two threads speak, and `print` writes its end by itself."""
    os.write(sys.stdout.fileno(), f"{line}\n".encode())


async def main(port: int, url: str, lives: int) -> None:
    """Run until killed, by itself or by others."""
    engine, clock, left = open_store(url), real_clock(), lives

    def commit(messages: Sequence[Message]) -> BatchOutcome:
        nonlocal left
        said = [reading for message in messages for reading in message.readings]
        outcome = readings.keep(engine, said, [], [], clock.now())
        tell(f"kept {outcome.new} {outcome.known}")
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return outcome

    batcher = Batcher(commit, limit=BATCH)
    subscriber = Subscriber(
        Broker("127.0.0.1", port, "slowcorner-doomed"),
        batcher.put,
        clock,
        on_reached=lambda: tell("reached"),
    )
    await subscriber.start()
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), sys.argv[2], int(sys.argv[3])))
