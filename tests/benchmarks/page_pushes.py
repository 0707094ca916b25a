"""How soon a push leaves after the reading that made a tree fit, block after block of shop time."""

import time
from dataclasses import dataclass, field
from typing import Any

from sensors.air import BLOCK_MS
from sensors.clock import Millis, parse_time
from tests.benchmarks.page_shop import Asker, Running
from tests.service.fake_shop import NOON
from tests.service.push_service import PushService

NOTICES = 100
LONGEST_STEPS = 400


class TimedPushes(PushService):
    """A push service that notes when each push came in, before it looks at it, and its words."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[tuple[float, str]] = []

    def take(self, path: str, headers: Any, body: bytes) -> tuple[int, dict[str, str]]:
        came_at = time.perf_counter()
        answer = super().take(path, headers, body)
        if answer[0] < 300:
            self.texts.append((came_at, self.pushes[-1].text))
        return answer


@dataclass
class Rounds:
    """Blocks of shop time with a reading at the end of each; what comes fit is told, and dipped again."""

    service: Running
    pushes: TimedPushes
    readings: list[tuple[Millis, float]] = field(default_factory=lambda: [(NOON, 0.0)])
    """Shop time of each reading [ms], when it was sent [s]; the first stands for all before, not timed."""

    times: dict[int, float] = field(default_factory=dict)
    """Seconds of each push by its number: from before its reading was sent to when it came."""

    dipped: dict[str, float] = field(default_factory=dict)
    """When each tree was dipped last [s]."""

    def block(self) -> bool:
        """Let one block go by; False once no tree has a coat left. What is fit and told is dipped.

        The next reading comes as soon as all is told: forecasts that are still being made give way to it,
        where in a shop they had ten minutes.
        """
        self.readings.append((self.service.leap(BLOCK_MS), time.perf_counter()))
        self.service.tell_air(self.readings[-1][0])
        self.service.catch_up(self.readings[-1][0])
        ends = time.perf_counter() + 30.0
        with Asker(self.service.port) as asker:
            rack = asker.rack()
            untold = [tree for tree in rack if tree["state"] == "fit"]
            while untold := [tree for tree in untold if not self._told(asker, tree)]:
                assert time.perf_counter() < ends, f"{untold[0]['label']} is fit, and no push says so"
                time.sleep(0.02)
        return any(tree["coat"] < tree["of"] for tree in rack)

    def _told(self, asker: Asker, tree: dict[str, Any]) -> bool:
        """Whether a push said that a tree is fit to dip; then it is timed, and the tree dipped."""
        fit_at = parse_time(tree["fit_at"]["p90"])
        block_ends = -(-fit_at // BLOCK_MS) * BLOCK_MS
        sent = next(sent for at, sent in self.readings if at >= block_ends)
        for number, (came, text) in enumerate(self.pushes.texts):
            if tree["label"] in text and came > max(sent, self.dipped.get(tree["label"], 0.0)):
                if sent:
                    self.times[number] = min(came - sent, self.times.get(number, came - sent))
                status, _, body = asker.ask("POST", f"/api/trees/{tree['id']}/dips", {"confirm": True})
                assert status == 201, body
                self.dipped[tree["label"]] = time.perf_counter()
                return True
        return False


def push_times(service: Running, pushes: TimedPushes, wanted: int = NOTICES) -> list[float]:
    """Seconds from before a reading is sent to when the push that it brought about reached its service.

    The judge commits a block of shop time once a reading has reached its end: that reading makes a tree fit.
    One message tells of all trees that one reading made fit, and counts once.
    """
    rounds = Rounds(service, pushes)
    for _ in range(LONGEST_STEPS):
        if len(rounds.times) >= wanted or not rounds.block():
            break
    return list(rounds.times.values())
