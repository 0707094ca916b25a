"""Where a calibration is made, whoever says it: jars begun and read, points checked, a line kept or taken
back, and the place's air made anew by it."""

from collections.abc import Sequence
from dataclasses import dataclass

from sensors.calibration import CalibratedQuantity, CalibrationError, Point, fit_line
from sensors.clock import DAY_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from sensors.salts import SALTS, SaltRangeError, salt_error_pct, salt_humidity_pct
from sensors.settling import WINDOW_MS, Settling, settling
from server.parts import Parts
from server.store import calibrations as store
from server.store import readings as reading_store
from server.store.calibrations import Calibration, Jar, KeptPoint
from server.store.engine import UnknownError

READ_OVER_MS = 10 * MINUTE_MS
"""What a node says beside a reference is the mean over the last ten minutes before it was read [ms]."""

AHEAD_MS = MINUTE_MS
"""So far ahead a phone's clock may be before what it says is called the future [ms]."""

JARS_KEPT_MS = 30 * DAY_MS
"""A jar that was read longer ago than this is offered no more as a point [ms]; assumed."""

REFERENCE_ERRORS = {"humidity": 2.0, "temperature": 0.2}
"""What a hand hygrometer [%RH] and a hand thermometer [K] are good for where nothing is said; assumed."""


@dataclass(frozen=True)
class SaidPoint:
    """A point as a person says it, in the quantity's unit.

    Of a salt: `salt`, `temp_c` of the jar and what the node `said`. Of a reference: what was `right`, and
    within what `error`; where `said` is None it is what the node told in the ten minutes before `at`.
    """

    right: float | None = None
    said: float | None = None
    error: float | None = None
    at: Millis | None = None
    salt: str = ""
    temp_c: float | None = None


def known_node(parts: Parts, node: str, place: str | None = None) -> str:
    """The place of a node. Raises UnknownError where it was never heard (there), or at several places."""
    found = [
        one.place
        for one in reading_store.nodes(parts.engine)
        if one.node == node and place in (None, one.place)
    ]
    if not found:
        raise UnknownError(f"there is no node {node!r}" + (f" at {place!r}" if place else ""))
    if len(found) > 1:
        raise UnknownError(f"node {node!r} is heard at {', '.join(found)}: say which place")
    return found[0]


def begin_jar(parts: Parts, place: str, node: str, salt: str) -> Jar:
    """A node goes into a jar: it is left out of the air from now on.

    Raises UnknownError, RefusedError where it is in one, CalibrationError where there is no such salt.
    """
    known_node(parts, node, place)
    if salt not in SALTS:
        raise CalibrationError(f"salt {salt!r} is none of {', '.join(SALTS)}")
    jar = store.begin_jar(parts.engine, place, node, salt, parts.clock.now())
    parts.rack.calibrated(place)
    return jar


def jar_now(parts: Parts, place: str, node: str) -> tuple[Jar, Settling] | None:
    """The jar that a node is in and how far it has come; None where it is in none."""
    jar = next((one for one in store.jars(parts.engine, place, node) if one.state == "waiting"), None)
    if jar is None:
        return None
    now = parts.clock.now()
    said = node_said(parts, place, node, max(jar.begun, now - WINDOW_MS), now + 1)
    return jar, settling(said, jar.begun, now)


def end_jar(parts: Parts, place: str, node: str, read: bool) -> Jar:
    """A node comes out of its jar, read or given up.

    Raises UnknownError where it is in none, CalibrationError where it is to be read and has not settled.
    """
    found = jar_now(parts, place, node)
    figures = None
    if read and found is not None:
        jar, state = found
        if not state.settled or state.humidity_pct is None or state.temp_c is None:
            raise CalibrationError(f"the jar of {jar.salt} has not settled: {state.why_not}")
        _salt_point(jar.salt, state.temp_c, state.humidity_pct, parts.clock.now())
        figures = (state.humidity_pct, state.temp_c)
    ended = store.end_jar(parts.engine, place, node, parts.clock.now(), figures)
    parts.rack.calibrated(place)
    return ended


def offered_jars(parts: Parts, place: str, node: str) -> list[tuple[Jar, KeptPoint]]:
    """The jars of a node that were read within the last 30 days, with the points they make, newest first."""
    since = parts.clock.now() - JARS_KEPT_MS
    return [
        (jar, _salt_point(jar.salt, jar.temp_c, jar.reading_pct, jar.ended))
        for jar in store.jars(parts.engine, place, node)
        if jar.ended is not None
        and jar.ended >= since
        and jar.temp_c is not None
        and jar.reading_pct is not None
    ]


def calibrate(
    parts: Parts,
    place: str,
    node: str,
    quantity: CalibratedQuantity,
    said: Sequence[SaidPoint],
    from_ms: Millis | None = None,
    note: str = "",
) -> Calibration:
    """Keep a calibration that holds from `from_ms`, or from now on; readings stay, the air is made anew.

    Raises UnknownError where there is no such node, CalibrationError where it cannot be.
    """
    known_node(parts, node, place)
    points = [_point(parts, place, node, quantity, one) for one in said]
    return _keep(parts, place, node, quantity, points, from_ms, note)


def calibrate_by_jars(
    parts: Parts, place: str, node: str, jar_ids: Sequence[int], from_ms: Millis | None = None
) -> Calibration:
    """Keep a calibration of humidity by jars that were read. Raises CalibrationError where one is not."""
    offered = {jar.id: point for jar, point in offered_jars(parts, place, node)}
    missing = [number for number in jar_ids if number not in offered]
    if missing:
        raise CalibrationError(f"jar {missing[0]} of node {node!r} is none that was read in the last 30 days")
    return _keep(parts, place, node, "humidity", [offered[number] for number in jar_ids], from_ms, "")


def undo_calibration(parts: Parts, place: str, node: str, calibration_id: int) -> Calibration:
    """Take a calibration back; the one before it holds again. Raises UnknownError."""
    undone = store.undo_calibration(parts.engine, place, node, calibration_id, parts.clock.now())
    parts.rack.calibrated(place)
    return undone


def node_said(parts: Parts, place: str, node: str, start: Millis, end: Millis) -> list[Reading]:
    """What a node of a place said of start <= time < end, as it came."""
    found = reading_store.node_readings(parts.engine, node, start, end)
    return [one for one in found if one.place == place]


def _keep(
    parts: Parts,
    place: str,
    node: str,
    quantity: CalibratedQuantity,
    points: Sequence[KeptPoint],
    from_ms: Millis | None,
    note: str,
) -> Calibration:
    now = parts.clock.now()
    since = now if from_ms is None else from_ms
    if since > now + AHEAD_MS:
        raise CalibrationError(f"the calibration would begin {(since - now) // MINUTE_MS} min in the future")
    line = fit_line(quantity, [Point(one.said, one.right, one.error) for one in points])
    kind: store.Kind = "salt" if all(one.salt for one in points) else "reference"
    kept = store.add_calibration(parts.engine, place, node, quantity, kind, line, points, since, now, note)
    parts.rack.calibrated(place)
    return kept


def _point(parts: Parts, place: str, node: str, quantity: CalibratedQuantity, said: SaidPoint) -> KeptPoint:
    now = parts.clock.now()
    at = now if said.at is None else said.at
    if at > now + AHEAD_MS:
        raise CalibrationError(f"a point is {(at - now) // MINUTE_MS} min in the future")
    value = _told(parts, place, node, quantity, at) if said.said is None else said.said
    if said.salt:
        if quantity != "humidity":
            raise CalibrationError("a salt tells humidity, not temperature")
        if said.salt not in SALTS:
            raise CalibrationError(f"salt {said.salt!r} is none of {', '.join(SALTS)}")
        if said.temp_c is None:
            raise CalibrationError(f"the point of {said.salt} needs the temperature of its jar")
        return _salt_point(said.salt, said.temp_c, value, at)
    if said.right is None:
        raise CalibrationError("a point needs what the reference said, or a salt and its temperature")
    return KeptPoint(value, said.right, said.error or REFERENCE_ERRORS[quantity], at)


def _told(parts: Parts, place: str, node: str, quantity: str, at: Millis) -> float:
    told = [
        one.value for one in node_said(parts, place, node, at - READ_OVER_MS, at + 1) if one.name == quantity
    ]
    if not told:
        raise CalibrationError(
            f"node {node!r} said no {quantity} in the {READ_OVER_MS // MINUTE_MS} min before: "
            "say what it showed"
        )
    return sum(told) / len(told)


def _salt_point(salt: str, temp_c: float, said: float, at: Millis) -> KeptPoint:
    try:
        return KeptPoint(said, salt_humidity_pct(salt, temp_c), salt_error_pct(salt, temp_c), at, salt)
    except SaltRangeError as error:
        raise CalibrationError(str(error)) from None
