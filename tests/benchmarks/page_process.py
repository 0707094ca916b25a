"""The real service over a data folder, as a process whose shop time goes on with the wall's and can leap.

    python -m tests.benchmarks.page_process DATA_FOLDER

Reads lines from its standard input: each is so many milliseconds by which shop time leaps ahead.
"""

import sys
import threading
from dataclasses import dataclass
from pathlib import Path

from sensors.clock import Millis, wall_millis
from server import running
from server.settings import Settings
from tests.service.fake_shop import NOON


@dataclass
class LeapingClock:
    """Shop time from noon on, at the wall's pace, and what it leapt ahead."""

    leapt: Millis = 0
    rate: float = 1.0

    def __post_init__(self) -> None:
        self._began = wall_millis()

    def now(self) -> Millis:
        return NOON + self.leapt + wall_millis() - self._began


def main(folder: Path) -> None:
    clock = LeapingClock()

    def hear() -> None:
        for line in sys.stdin:
            clock.leapt += int(line)
            sys.stdout.write(f"now {clock.now()}\n")
            sys.stdout.flush()

    threading.Thread(target=hear, daemon=True).start()
    running.real_clock = lambda: clock  # type: ignore[attr-defined,assignment,return-value]
    running.run_service(Settings(data=folder, port=0, mqtt="listen://127.0.0.1:0"))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
