"""The air records of the whole shop, one a place, filled from the store and from what is heard."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from sensors.air import GAP_LIMIT_MS, PlaceAir
from sensors.clock import HOUR_MS, Millis
from sensors.humid_air import STANDARD_PRESSURE_PA
from sensors.reading import Reading
from sensors.traces import USUAL_RH_ERROR_PCT, USUAL_TEMP_ERROR_C, Stated
from server.stays import AirAlong, Stay, places_along
from server.store import nodes, places, readings, trees
from server.store.engine import Engine
from server.usable_readings import Usable, usable_readings
from server.verdicts import NodeFault

UNNAMED_SPEED_M_S = 0.2
"""Air speed of a place that nodes speak of and nobody has named yet: a still room; assumed."""


def place_air(
    engine: Engine,
    place_id: str,
    speed_m_s: float,
    gap_limit: Millis = GAP_LIMIT_MS,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> PlaceAir:
    """An empty record of a place, with the errors that are stated of its nodes."""
    air = PlaceAir(speed_m_s, gap_limit, pressure_pa=pressure_pa)
    for (place, node), said in nodes.node_settings(engine).items():
        if place == place_id:
            air.state(
                node,
                Stated(
                    USUAL_TEMP_ERROR_C if said.temp_error_c is None else said.temp_error_c,
                    USUAL_RH_ERROR_PCT if said.rh_error_pct is None else said.rh_error_pct,
                ),
            )
    return air


@dataclass
class AirRecords:
    """Every place's air. To be used by one thread."""

    engine: Engine
    gap_limit: Millis = GAP_LIMIT_MS
    pressure_pa: float = STANDARD_PRESSURE_PA
    _airs: dict[str, PlaceAir] = field(default_factory=dict)
    _usable: dict[str, Usable] = field(default_factory=dict)
    _since: Millis = 0
    """The records hold what was said from this time on [ms], and what comes later of before."""

    def of(self, place_id: str) -> PlaceAir:
        """The record of a place, made at its first mention."""
        if place_id not in self._airs:
            place = places.place(self.engine, place_id)
            # A node may speak of a place that the shop has not named yet; its air is kept all the same.
            speed = UNNAMED_SPEED_M_S if place is None else place.speed_m_s
            self._airs[place_id] = place_air(self.engine, place_id, speed, self.gap_limit, self.pressure_pa)
        return self._airs[place_id]

    def along(self, tree_id: int) -> AirAlong:
        """The record along a tree's way: of each place while it hung there."""
        way = places_along(trees.events(self.engine, tree_id))
        return AirAlong([Stay(since, place, self.of(place)) for since, place in way])

    def load(self, since: Millis, until: Millis, heard_until: Millis) -> dict[str, Millis]:
        """Read what the store keeps of [since, until): first what came by `heard_until`, then the rest.

        Returns, for each place, from when on [ms] its air may differ from what was known by `heard_until`.
        """
        changed = {}
        self._since = since
        for place in places.places(self.engine):
            air = self.of(place.id)
            before = readings.place_readings(
                self.engine, place.id, since, until, arrived_before=heard_until + 1
            )
            usable = self._usable_at(place.id)
            air.add(usable.of(before))
            late = air.add(
                usable.of(
                    readings.place_readings(self.engine, place.id, since, until, arrived_from=heard_until + 1)
                )
            )
            if late is not None:
                changed[place.id] = late
        return changed

    def hear(self, heard: Iterable[Reading]) -> dict[str, Millis]:
        """Take readings in; for each place whose air may have changed, from when on [ms]."""
        by_place: dict[str, list[Reading]] = {}
        for reading in heard:
            by_place.setdefault(reading.place, []).append(reading)
        changed = {}
        for place, said in by_place.items():
            time = self.of(place).add(self._usable_at(place).of(said))
            if time is not None:
                changed[place] = time
        return changed

    def renew(self, place_id: str, now: Millis, heard_until: Millis) -> bool:
        """Take a place's air speed as the shop has it now; True where it was another one."""
        place, old = places.place(self.engine, place_id), self.of(place_id)
        if place is None or place.speed_m_s == old.speed_m_s:
            return False
        self._remake(place_id, place.speed_m_s, now, heard_until)
        return True

    def at_pressure(self, pressure_pa: float, now: Millis, heard_until: Millis) -> None:
        """Make the air of every place anew at another pressure [Pa]."""
        self.pressure_pa = pressure_pa
        for place_id in list(self._airs):
            self._remake(place_id, self.of(place_id).speed_m_s, now, heard_until)

    def reach_back(self, since: Millis, now: Millis, heard_until: Millis) -> bool:
        """Have the records begin no later than `since` [ms]; True where they were made anew for it."""
        if since >= self._since:
            return False
        self._since = since
        for place_id in list(self._airs):
            self._remake(place_id, self.of(place_id).speed_m_s, now, heard_until)
        return True

    def calibrated(self, place_id: str, now: Millis, heard_until: Millis) -> None:
        """Make a place's air anew, by its calibrations and jars as they are now."""
        self._usable.pop(place_id, None)
        self._remake(place_id, self.of(place_id).speed_m_s, now, heard_until)

    def _remake(self, place_id: str, speed_m_s: float, now: Millis, heard_until: Millis) -> None:
        air = place_air(self.engine, place_id, speed_m_s, self.gap_limit, self.pressure_pa)
        said = readings.place_readings(
            self.engine, place_id, self._since, now + HOUR_MS, arrived_before=heard_until + 1
        )
        air.add(self._usable_at(place_id).of(said))
        self._airs[place_id] = air

    def _usable_at(self, place_id: str) -> Usable:
        if place_id not in self._usable:
            self._usable[place_id] = usable_readings(self.engine, place_id)
        return self._usable[place_id]

    def forget(self, before: Millis) -> None:
        """Let go of what no longer bears on that time and after [ms]."""
        self._since = max(self._since, before)
        for air in self._airs.values():
            air.forget(before)

    def hour_by_hour(self, place_id: str, since: Millis, until: Millis) -> PlaceAir:
        """A record of its own of a place's air in [since, until), by hourly means, for what is long past.

        Faults that show within an hour are not found in it.
        """
        air = place_air(self.engine, place_id, self.of(place_id).speed_m_s, self.gap_limit, self.pressure_pa)
        air.add(self._usable_at(place_id).of(readings.hourly_readings(self.engine, place_id, since, until)))
        return air

    def faults(self) -> tuple[NodeFault, ...]:
        """Every fault of a node that is known, by place, node, kind and time."""
        return tuple(
            NodeFault(place, one.node, one.kind, one.start, one.end, air.reason(one), one.leaves_out)
            for place, air in sorted(self._airs.items())
            for one in air.faults()
        )

    def newest(self) -> dict[str, Millis | None]:
        """For each place that was spoken of, the time of its newest air [ms]."""
        found: dict[str, Millis | None] = {}
        for place, air in list(self._airs.items()):
            latest = air.latest()
            found[place] = None if latest is None else latest[0]
        return found
