"""What the pages and the API are given to work with: the store, the live rack, the clocks and a few facts."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock

from sensors.clock import Clock, Millis
from sensors.senml import Parsed
from server.air_history import AirHistory
from server.changes import Changes
from server.planning import PlanDesk
from server.store.engine import Engine
from server.store.values import Subscription
from server.verdicts import Rack


@dataclass(frozen=True)
class Readiness:
    """Whether the service is able to judge, and if not, every reason why."""

    ready: bool
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Parts:
    """Everything a request may need; put together once, where the service starts.

    `clock` tells shop time, `wall_clock` the machine's own [ms]. `on_readings` keeps what came in by HTTP
    and returns how many readings of it are on the disk. `on_mappings` is told when the mappings of other
    makers' payloads are others. `changes` tells open pages what changed. `try_phone` sends a test notice
    to one phone and returns why it did not go, nothing where it did. `not_kept` says why what nodes say
    is not kept now, nothing where it is. `one_dip_at_a_time` makes the question "may it go on?" and the
    answer one step. `data` is the folder that photographs are kept in.
    """

    engine: Engine
    rack: Rack
    clock: Clock
    wall_clock: Callable[[], Millis]
    vapid_public_key: str
    ready: Callable[[], Readiness]
    on_readings: Callable[[Parsed], Awaitable[int]]
    air_history: AirHistory
    changes: Changes
    try_phone: Callable[[Subscription], Awaitable[str]]
    data: Path
    on_mappings: Callable[[], None] = lambda: None
    not_kept: Callable[[], str] = lambda: ""
    one_dip_at_a_time: Lock = field(default_factory=Lock)
    plan_desk: PlanDesk = field(default_factory=PlanDesk)
