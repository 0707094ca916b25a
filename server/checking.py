"""The check before burnout without a service: over a copy of a store, or over the demo's trees."""

from dataclasses import dataclass
from pathlib import Path

from sensors.clock import MINUTE_MS, SetClock, parse_time
from sensors.reading import Reading
from sensors.simulated import demo_nodes
from server import demo
from server.burnout import ANSWER_WORDS
from server.burnout_cautions import BURNOUT_CHECK
from server.burnout_check import BurnoutCheck
from server.burnout_record import check_of
from server.live import LiveRack
from server.pages.wording import per_cent
from server.settings import Settings
from server.store import readings, trees
from server.store.copying import copy_database
from server.store.engine import Engine, open_store

DEMO_MORNING = parse_time("2026-03-02T06:00:00Z")
STEP_MS = 5 * MINUTE_MS


@dataclass(frozen=True)
class Judged:
    """A store with its rack judged up to a time."""

    engine: Engine
    rack: LiveRack
    clock: SetClock


def checks_of_demo(folder: Path, after: int) -> list[BurnoutCheck]:
    """The demo's trees in the demo's weather, so long after its first morning [ms]; a store in `folder`."""
    engine = open_store(f"sqlite:///{folder}/demo.db")
    try:
        now = DEMO_MORNING + after
        demo.furnish(engine, DEMO_MORNING)
        said = []
        for node in demo_nodes(demo.weather_begins(engine, DEMO_MORNING)):
            for time in range(DEMO_MORNING - demo.PAST_MS, now + 1, STEP_MS):
                temp_c, rh_pct = node.values(time)
                said.append(Reading(node.place, node.node, "temperature", "Cel", temp_c, time))
                said.append(Reading(node.place, node.node, "humidity", "%RH", rh_pct, time))
        readings.keep(engine, said, (), (), now)
        return _checks(engine, now)
    finally:
        engine.dispose()


def checks_of_copy(data: Path, folder: Path) -> list[BurnoutCheck]:
    """The trees of a data folder, judged up to its newest reading, in a copy: the store is left as it is.

    Raises StoreError where there is none or it cannot be read.
    """
    copy = folder / "copy.db"
    copy_database(Settings(data=data).database_url, copy)
    engine = open_store(f"sqlite:///{copy}")
    try:
        return _checks(engine, readings.newest_arrival(engine))
    finally:
        engine.dispose()


def _checks(engine: Engine, now: int) -> list[BurnoutCheck]:
    clock = SetClock(now)
    rack = LiveRack(engine, clock)
    rack.open()
    try:
        # One look has a budget for its forecasts: look until every tree has had its own.
        for _ in trees.rack(engine):
            rack.look()
        return [check_of(Judged(engine, rack, clock), tree.id) for tree in trees.rack(engine)]
    finally:
        rack.close()


def lines_of(check: BurnoutCheck) -> list[str]:
    """A check as lines for a terminal, the cautions with every one that is not a plain "not yet"."""
    lines = [
        f"{check.label}: {ANSWER_WORDS[check.finding.answer]} ({check.coats_on} of {check.coats_in_all})"
    ]
    for reason in check.finding.reasons:
        lines.append(f"  - {reason.words}")
        if reason.measure:
            lines.append(f"    would tell: {reason.measure}")
    for spot in check.spots:
        if spot.over_dry is not None and check.coats_on >= check.coats_in_all:
            lines.append(
                f"  {spot.name}: {per_cent(spot.over_dry)} of its dry mass, limit {per_cent(spot.limit)}"
            )
    if check.finding.answer != "not-yet":
        lines += [f"  {words}" for words in BURNOUT_CHECK]
    return lines
