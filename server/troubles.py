"""What is due to be told beside the trees: silent nodes, disbelieved ones, batteries, bad air, calibration.

Nothing is kept here. A key names what is the matter, and since when, by the shop's date: so that what goes on
is told once, and what comes and goes once a day.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from scheduler.forecast import Notice, Outlook
from scheduler.summary import listed
from sensors.clock import DAY_MS, MINUTE_MS, SECOND_MS, Millis
from server.drying.warning_limits import AirRange
from server.node_health import node_health
from server.parts import Parts
from server.shop_hours import local_date
from server.shop_rules import shop_rules
from server.store import calibrations, places
from server.store.first_words import first_words
from server.telling import calibration_ms
from server.verdicts import AirPoint, NodeFault

LOOK_EVERY_MS, LOOK_APART_S = MINUTE_MS, 1.0
"""It is looked at anew once a minute [ms of shop time], and no sooner than after so long [s of the wall].

It asks the store for more than each tick should."""

BAD_AIR_MS = 30 * MINUTE_MS
"""Air is bad when it was so for this long, at every point that is known [ms]."""

STILL_USED_MS = 7 * DAY_MS
"""A node that was not heard for so long needs no calibration [ms]."""


@dataclass
class Troubles:
    """Looks at nodes and air, now and then; between two looks the last one holds."""

    parts: Parts
    monotonic: Callable[[], float] = time.monotonic
    _looked: float = field(default=float("-inf"), init=False)
    _looked_at: Millis | None = field(default=None, init=False)
    _found: Sequence[Notice] = field(default=(), init=False)

    def __call__(self, now: Millis) -> Sequence[Notice]:
        """What is due at shop time `now` [ms], whether it was told before or not."""
        old = self._looked_at is None or abs(now - self._looked_at) >= LOOK_EVERY_MS
        if old and self.monotonic() - self._looked >= LOOK_APART_S:
            self._found = troubles(self.parts, now)
            self._looked, self._looked_at = self.monotonic(), now
        return self._found


def troubles(parts: Parts, now: Millis) -> list[Notice]:
    """All of it, as the store and the rack have it now."""
    rules = shop_rules(parts.engine)
    names = {place.id: place.name for place in places.places(parts.engine)}
    found = [
        notice
        for fault in node_health(parts)
        if fault.end is None and (notice := of_node(fault, names, now, rules.zone)) is not None
    ]
    drying = [one for one in parts.rack.outlooks() if one.state in ("drying", "resting")]
    for place in sorted({outlook.place for outlook in drying}):
        here = [outlook for outlook in drying if outlook.place == place]
        points = parts.rack.air(place, now - BAD_AIR_MS, now)
        air = bad_air(place, names.get(place, place), here, points, rules.limits.air_of, now, rules.zone)
        found += [air] if air is not None else []
    return found + _calibrations(parts, names, now, rules.zone)


def of_node(fault: NodeFault, names: Mapping[str, str], now: Millis, zone: ZoneInfo) -> Notice | None:
    """What is to be told of a fault of a node; None where it is the matter of another cause."""
    who = f"{fault.node} ({names.get(fault.place, fault.place)})"
    node, day = f"{fault.place}/{fault.node}", local_date(fault.start, zone)
    # Of a clock or a battery the reason is a sentence of its own.
    between = ": " if fault.reason.startswith("its ") else " "
    body = f"{fault.node}{between}{fault.reason}."
    match fault.kind:
        case "silent":
            title, key, brief = f"{who}: silent", f"silent:{node}:{day}", f"since {_clock(fault.start, zone)}"
            return Notice(key, "silent", None, title, body, now, who, brief)
        case "low battery":
            year, week, _ = datetime.fromtimestamp(now / SECOND_MS, zone).isocalendar()
            key = f"battery:{node}:{year}-W{week:02d}"
            return Notice(key, "battery", None, f"{who}: battery low", body, now, who)
        case _:
            left_out = " It is left out of the air meanwhile." if fault.left_out else ""
            key, title = f"fault:{node}:{fault.kind}:{day}", f"{who}: look at it"
            return Notice(key, "fault", None, title, body + left_out, now, who, fault.kind)


def bad_air(
    place: str,
    name: str,
    outlooks: Sequence[Outlook],
    points: Sequence[AirPoint],
    air_of: Callable[[str], AirRange],
    now: Millis,
    zone: ZoneInfo,
) -> Notice | None:
    """The notice that a place's air is outside what the coats that dry there want; None where it is not."""
    for kind in dict.fromkeys(outlook.kind for outlook in outlooks):
        words = _outside(points, kind, air_of(kind))
        if words is None:
            continue
        same = sorted(one.label for one in outlooks if air_of(one.kind) == air_of(kind))
        body = f"{words} {listed(same)} {'dries' if len(same) == 1 else 'dry'} there."
        key = f"air:{place}:{local_date(now, zone)}"
        return Notice(key, "air", None, f"{name}: the air has gone bad", body, now, name)
    return None


def _outside(points: Sequence[AirPoint], kind: str, wanted: AirRange) -> str | None:
    """What is wrong with the air at every one of these points, in a sentence."""
    known = [
        (point.temp_c, point.rh_pct)
        for point in points
        if point.temp_c is not None and point.rh_pct is not None
    ]
    if len(known) < 2:
        return None
    temp_c, rh_pct = known[-1]
    if all(not wanted.rh_low_pct <= rh <= wanted.rh_high_pct for _, rh in known):
        span = f"{wanted.rh_low_pct:g} to {wanted.rh_high_pct:g} %RH"
        return f"The air is at {rh_pct:.0f} %RH; a {kind} coat wants {span}."
    if all(not wanted.low_c <= temp <= wanted.high_c for temp, _ in known):
        return f"The air is at {temp_c:.0f} °C; a {kind} coat wants {wanted.low_c:g} to {wanted.high_c:g} °C."
    return None


def _calibrations(parts: Parts, names: Mapping[str, str], now: Millis, zone: ZoneInfo) -> list[Notice]:
    """Nodes whose last calibration that stands, or else whose first word, is too long ago."""
    holds_ms = calibration_ms(parts.engine)
    last: dict[tuple[str, str], Millis] = {}
    for one in calibrations.calibrations(parts.engine):
        if one.undone_at is None:
            node_of = one.place, one.node
            last[node_of] = max(last.get(node_of, 0), one.said_ms)
    found = []
    for (place, node), (first, newest) in first_words(parts.engine).items():
        since = last.get((place, node), first)
        due = since + holds_ms
        if due > now or now - newest > STILL_USED_MS:
            continue
        who = f"{node} ({names.get(place, place)})"
        ago = f"{(now - since) // DAY_MS} days ago"
        said = (
            f"was last calibrated {ago}" if (place, node) in last else f"has run for {ago[:-4]} uncalibrated"
        )
        body = f"{node} {said}. The page Air has the steps: jars of salt, or beside a better instrument."
        cause = f"calibration:{place}/{node}:{local_date(due, zone)}"
        found.append(Notice(cause, "calibration", None, f"{who}: calibrate it", body, now, who))
    return found


def _clock(moment: Millis, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(moment / SECOND_MS, zone):%H:%M}"
