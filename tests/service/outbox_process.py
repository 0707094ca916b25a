"""A process of its own that looks into the outbox once: `python -m tests.service.outbox_process URL KEYS`."""

import asyncio
import sys
from pathlib import Path

from sensors.clock import wall_millis
from server.phone.outbox import Outbox
from server.phone.vapid import vapid_keys
from server.phone.web_push import WebPush
from server.store.engine import open_store


def main() -> None:
    url, key_file = sys.argv[1:]
    engine = open_store(url)
    try:
        asyncio.run(Outbox(engine, {"push": WebPush(vapid_keys(Path(key_file)))}, wall_millis).run_once())
    finally:
        engine.dispose()


if __name__ == "__main__":
    main()
