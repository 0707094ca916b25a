"""Simulated nodes: a made-up shop whose nodes read real weather's air and say so over real MQTT.

A node is off by a fixed error of its own and a little noise, as a good cheap sensor's data sheet allows:
±0.2 K and ±2 %RH. What it says of a moment depends on node, seed and moment alone, so that a node that
starts again says the same again.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import Protocol

from sensors.clock import DAY_MS, MINUTE_MS, SECOND_MS, Clock, Millis
from sensors.shop_air import Room, ShopAir, fortnight
from sensors.simulated_link import NodeLink

TEMP_ERROR_K = 0.2
HUMIDITY_ERROR_PCT = 2.0
TEMP_NOISE_K = 0.03
HUMIDITY_NOISE_PCT = 0.15

LIVE_STEP_MS = 2 * MINUTE_MS
PAST_STEP_MS = 5 * MINUTE_MS
LONGEST_PACK = 48
"""Moments in a pack at most: 96 records, about 5 kB."""
KEPT_MS = 7 * DAY_MS
"""What a node could not send for longer than this it forgets [ms]."""
_LEAST_SPACING_S = 0.4
"""Packs are no closer than this on the wall [s], whatever the clock's rate."""


class AirSource(Protocol):
    """Knows the air at any time."""

    def at(self, time: Millis) -> tuple[float, float]:
        """Temperature [°C] and relative humidity [%] at that time [ms]."""
        ...


@dataclass(frozen=True)
class SimulatedNode:
    """A node with a thermometer and a hygrometer in some air."""

    place: str
    node: str
    air: AirSource
    seed: int = 1

    def values(self, time: Millis) -> tuple[float, float]:
        """What it reads at that time [ms]: temperature [°C], relative humidity [%], to a hundredth."""
        own = Random(f"{self.seed} {self.place}/{self.node}")
        noise = Random(f"{self.seed} {self.place}/{self.node} {time}")
        temp_c, rh_pct = self.air.at(time)
        temp_c += own.uniform(-TEMP_ERROR_K, TEMP_ERROR_K) + noise.gauss(0.0, TEMP_NOISE_K)
        rh_pct += own.uniform(-HUMIDITY_ERROR_PCT, HUMIDITY_ERROR_PCT)
        rh_pct += noise.gauss(0.0, HUMIDITY_NOISE_PCT)
        return round(temp_c, 2), round(min(max(rh_pct, 0.0), 100.0), 2)

    def pack(self, times: Sequence[Millis]) -> bytes:
        """What it reads at those times [ms]: one SenML pack in JSON (RFC 8428), its base time absolute."""
        base = times[0] // SECOND_MS
        records: list[dict[str, object]] = []
        for time in times:
            temp_c, rh_pct = self.values(time)
            for name, unit, value in (("temperature", "Cel", temp_c), ("humidity", "%RH", rh_pct)):
                record: dict[str, object] = {"n": name, "u": unit, "v": value}
                if time != times[0]:
                    record["t"] = (time - times[0]) // SECOND_MS
                records.append(record)
        records[0] = {"bn": f"{self.place}/{self.node}/", "bt": base, **records[0]}
        return json.dumps(records, separators=(",", ":")).encode()


class Diary:
    """Which moments a node speaks of next: the past it is asked for, then, at a closer step, what comes.

    `since` is where the past begins [ms], None for no past; `now` is when the node is switched on [ms].
    """

    def __init__(self, since: Millis | None, now: Millis, rate: float) -> None:
        self._live_from = now - now % LIVE_STEP_MS
        self._next = self._live_from if since is None else min(_aligned(since), self._live_from)
        due = int(rate * _LEAST_SPACING_S * SECOND_MS / LIVE_STEP_MS)
        self._fewest = min(max(1, due), LONGEST_PACK)

    @property
    def past_is_told(self) -> bool:
        """Whether all of the past has been taken."""
        return self._next >= self._live_from

    def take(self, now: Millis) -> list[Millis]:
        """The moments of the next pack [ms]; none if nothing is due yet."""
        past = not self.past_is_told
        if not past and now - self._next > KEPT_MS:
            self._next = _aligned(now - KEPT_MS)
        step, end = (PAST_STEP_MS, self._live_from) if past else (LIVE_STEP_MS, now + 1)
        times = list(range(self._next, end, step))[:LONGEST_PACK]
        if not past and len(times) < self._fewest:
            return []
        self._next = times[-1] + step
        if past:
            self._next = min(self._next, self._live_from)
        return times


def _aligned(time: Millis) -> Millis:
    """The first moment from that time on at which both steps meet: every start then meets the same ones."""
    return -(-time // (2 * PAST_STEP_MS)) * (2 * PAST_STEP_MS)


class SimulatedShop:
    """All the nodes of a made-up shop, each with a connection and a thread of its own.

    They publish to the broker or listener at `host`:`port` from `start` to `stop`; they tell the past from
    `since` [ms] on, oldest first, and go on live by the clock. They come back when the listener does, and
    send again what it did not acknowledge.
    """

    def __init__(
        self,
        nodes: Sequence[SimulatedNode],
        host: str,
        port: int,
        clock: Clock,
        since: Millis | None = None,
        login: tuple[str, str] | None = None,
    ) -> None:
        self._off = False
        self._links = [
            NodeLink(node, Diary(since, clock.now(), clock.rate), host, port, clock, login) for node in nodes
        ]

    def start(self) -> None:
        """Switch the nodes on."""
        for link in self._links:
            link.start()

    def stop(self) -> None:
        """Switch the nodes off; they say that they go. Returns when their threads have ended.

        Whoever waits for the past need not wait on.
        """
        self._off = True
        for link in self._links:
            link.ask_to_stop()
            link.past_acknowledged.set()
        for link in self._links:
            link.join()

    def wait_for_past(self, timeout_s: float) -> bool:
        """Wait until all of the past is acknowledged; False after so long [s], or switched off."""
        return all(link.past_acknowledged.wait(timeout_s) for link in self._links) and not self._off


def demo_nodes(begins: Millis) -> tuple[SimulatedNode, ...]:
    """The nodes of the demo: two at the rack in a heated drying room, one on the wall of an unheated cellar.

    The fortnight of weather begins at `begins`, a midnight of the shop [ms].
    """
    weather = fortnight()
    drying_room = ShopAir(weather, Room(), begins)
    cellar = ShopAir(weather, CELLAR, begins)
    return (
        SimulatedNode("drying-room", "rack-north", drying_room),
        SimulatedNode("drying-room", "rack-south", drying_room),
        SimulatedNode("cellar", "wall", cellar),
    )


CELLAR = Room(
    volume_m3=40.0,
    air_changes_h=0.4,
    loss_w_k=15.0,
    ground_w_k=60.0,
    stored_heat=60.0,
    heater_w=0.0,
    other_heat_w=80.0,
    water_kg_h=0.02,
)
"""An unheated cellar; its figures are assumed."""
