"""The real service over a data folder, as a process whose shop time goes on with the wall's and can leap.

    python -m tests.benchmarks.page_process DATA_FOLDER

Reads lines from its standard input: each is so many milliseconds by which shop time leaps ahead. It answers
with shop time [ms], up to when every tree is judged [ms], and how often the rack's page was made anew so far.
"""

import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sensors.clock import Millis, wall_millis
from server import running
from server.app import Service
from server.pages import rack_kept
from server.pages.rack_contexts import RackPage
from server.parts import Parts
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
    made: list[str] = []
    services: list[Service] = []

    def service(*given: Any) -> Service:
        services.append(Service(*given))
        return services[-1]

    def rack_page(parts: Parts, place: str) -> RackPage:
        made.append(place)
        return real_rack_page(parts, place)

    real_rack_page, rack_kept.rack_page = rack_kept.rack_page, rack_page  # type: ignore[assignment,attr-defined]

    def hear() -> None:
        for line in sys.stdin:
            clock.leapt += int(line)
            judged = min((outlook.as_of for one in services for outlook in one.rack.outlooks()), default=0)
            sys.stdout.write(f"now {clock.now()} judged {judged} made {len(made)}\n")
            sys.stdout.flush()

    threading.Thread(target=hear, daemon=True).start()
    running.real_clock = lambda: clock  # type: ignore[attr-defined,assignment,return-value]
    running.run_service(Settings(data=folder, port=0, mqtt="listen://127.0.0.1:0"), service)  # type: ignore[arg-type]


if __name__ == "__main__":
    main(Path(sys.argv[1]))
