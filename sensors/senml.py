"""Readings from SenML packs in JSON (RFC 8428). Section numbers are the RFC's.

A pack is a list of records. Base fields (`bn` name, `bt` time, `bu` unit, `bv` value) hold from their record
on until said anew. A record that cannot be a reading is kept out with its reason; the good ones are taken.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, Millis
from sensors.reading import BATTERY_UNITS, QUANTITIES, KeptOutError, Quantity, Reading, Rejected
from sensors.topics import quoted

VERSION = 10
"""The version of SenML that RFC 8428 defines (4.4); a pack of a later one means something we do not know."""

RELATIVE_BELOW_S = 2**28
"""Times under this many seconds are relative to now, others count from 1970 (4.5.3)."""

LATEST_S = 1e12
"""From here on a number of seconds is no time: it would not be exact in milliseconds."""

AHEAD_LIMIT_MS = 5 * MINUTE_MS
AGE_LIMIT_MS = 30 * DAY_MS
REASONS_LIMIT = 50
"""A pack with more records kept out than this leaves one entry for the lot, with the whole payload."""

_BASE_LABELS = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_KNOWN_LABELS = _BASE_LABELS | {"n", "u", "v", "t"}
_USUAL_LABELS = frozenset({"n", "u", "v", "t", "bn", "bt", "bver"})
"""What a usual record has, and no more: its own name, unit and value, a time, and bases of name and time."""

_DECODER = json.JSONDecoder()
_OTHER_VALUES = {"vs": "a text", "vb": "a true or false", "vd": "data"}
_NAMES = ", ".join((*QUANTITIES, "battery"))


@dataclass(frozen=True, slots=True)
class Resolved:
    """A record with the base fields applied (4.6): full name, unit, value and time [ms since 1970, UTC]."""

    name: str
    unit: str | None
    value: float
    time: Millis


class Parsed(NamedTuple):
    """What a payload came to: the readings, and what was kept out of it."""

    readings: tuple[Reading, ...]
    rejected: tuple[Rejected, ...]


def parse(payload: bytes, place: str, node: str, arrived: Millis, source: str) -> Parsed:
    """Read what a node sent as one SenML pack in JSON. Never raises: what cannot be taken comes rejected.

    `arrived` is shop time on arrival [ms]; `source` says where the payload came from, for what is kept out.

    >>> pack = b'[{"bn":"shop/n1/","n":"temperature","u":"Cel","v":21.5},{"n":"humidity","u":"%RH","v":140}]'
    >>> parsed = parse(pack, "shop", "n1", 1_700_000_000_000, "here")
    >>> parsed.readings[0].value, parsed.rejected[0].reason
    (21.5, 'record 2: humidity 140 %RH is outside 0 to 100 %RH')
    """
    try:
        records = load_pack(payload)
    except KeptOutError as fault:
        return Parsed((), (Rejected(source, str(fault), payload, arrived),))
    readings: list[Reading] = []
    rejected: list[Rejected] = []
    base: dict[str, object] = {}
    kept_out = 0
    own = f"{place}/{node}/"
    for number, record in enumerate(records, start=1):
        usual = _usual(record, base, own, arrived)
        if usual is not None:
            readings.append(Reading(place, node, *usual))
            continue
        try:
            resolved = resolve(record, base, arrived)
            if resolved is not None:
                readings.append(_reading(resolved, place, node))
        except KeptOutError as fault:
            kept_out += 1
            if kept_out <= REASONS_LIMIT:
                rejected.append(Rejected(source, f"record {number}: {fault}", _raw(record, payload), arrived))
    if kept_out > REASONS_LIMIT:
        reason = f"{kept_out} of {len(records)} records kept out; the first, {rejected[0].reason}"
        rejected = [Rejected(source, reason, payload, arrived)]
    return Parsed(tuple(readings), tuple(rejected))


def load_json(payload: bytes) -> object:
    """Read JSON in UTF-8. NaN and Infinity, which JSON has not, come as floats that `number` refuses by name.

    Raises KeptOutError with the reason.
    """
    if not payload:
        raise KeptOutError("the payload is empty")
    try:
        return _loads(payload.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise KeptOutError(f"not UTF-8: byte {payload[error.start]:#04x} at {error.start}") from None
    except RecursionError:
        raise KeptOutError("the JSON is nested too deep") from None
    except ValueError as error:
        raise KeptOutError(f"not JSON: {error}") from None


def _loads(text: str) -> object:
    """The same as `json.loads`, in less time where nothing stands around the JSON, as nodes write it."""
    try:
        content, end = _DECODER.raw_decode(text)
    except json.JSONDecodeError:
        end = -1
    return content if end == len(text) else json.loads(text)


def load_pack(payload: bytes) -> list[object]:
    """The records of a pack, once the pack as a whole can be understood.

    Raises KeptOutError when it is no list of records, is of a later version (4.4), or has a field that must
    be understood, which its label says by a `_` at its end (4.4, 12.2).
    """
    records = load_json(payload)
    if not isinstance(records, list):
        raise KeptOutError("not SenML: a pack is a list of records")
    if not records:
        raise KeptOutError("the pack has no records")
    for record in records:
        if not isinstance(record, dict):
            continue
        if not _USUAL_LABELS.issuperset(record) and not _KNOWN_LABELS.issuperset(record):
            for label in record:
                if label.endswith("_"):
                    raise KeptOutError(f"field {quoted(label)} must be understood and is not known here")
        if "bver" in record and number("bver", record["bver"]) > VERSION:
            version = quoted(record["bver"])
            raise KeptOutError(
                f"the pack is of SenML version {version}; versions up to {VERSION} are understood"
            )
    return records


def number(label: str, value: object) -> float:
    """A finite number, of a field called `label`. Raises KeptOutError for anything else, `true` included."""
    if type(value) is float or type(value) is int:
        try:
            as_float = float(value)
        except OverflowError:
            as_float = math.inf
        if math.isfinite(as_float):
            return as_float
        raise KeptOutError(f"{label} {quoted(value)} is not a finite number")
    raise KeptOutError(f"{label} {quoted(value)} is not a number")


def moment(seconds: float, now: Millis) -> Millis:
    """A SenML time as shop time [ms]: relative to now when under 2²⁸ s, else since 1970 (4.5.3).

    Raises KeptOutError when it is more than 5 minutes ahead of now or more than 30 days back.

    >>> moment(-2.5, 1_700_000_000_000), moment(1_700_000_000.25, 1_700_000_000_000)
    (1699999997500, 1700000000250)
    """
    if not abs(seconds) < LATEST_S:
        raise KeptOutError(f"time {seconds:g} s is no time")
    time = round(seconds * SECOND_MS) + (now if seconds < RELATIVE_BELOW_S else 0)
    if time > now + AHEAD_LIMIT_MS:
        ahead = f"{_span(time - now)} ahead of the clock"
        raise KeptOutError(f"time {seconds:.15g} s is {ahead}; at most {_span(AHEAD_LIMIT_MS)} is taken")
    if time < now - AGE_LIMIT_MS:
        old = f"{_span(now - time)} old"
        raise KeptOutError(f"time {seconds:.15g} s is {old}; at most {_span(AGE_LIMIT_MS)} is taken")
    return time


def _usual(
    record: object, base: dict[str, object], own: str, now: Millis
) -> tuple[str, str, float, Millis] | None:
    """Name, unit, value and time of a record as nearly all are, read in a fraction of the time.

    None for any other: `resolve` and `_reading`, which know every rule, then take it or say what is wrong.
    """
    if type(record) is not dict or not _USUAL_LABELS.issuperset(record):
        return None
    for label in ("bt", "bn"):
        if label in record:
            base[label] = record[label]
    if base and not (_USUAL_LABELS.issuperset(base) and base.get("bn", own) == own):
        return None
    name, value = record.get("n"), record.get("v")
    quantity = QUANTITIES.get(name) if type(name) is str else None
    if quantity is None or record.get("u") != quantity.unit:
        return None
    if (type(value) is not float and type(value) is not int) or (
        not quantity.lowest <= value <= quantity.highest
    ):
        return None
    start, since = base.get("bt", 0.0), record.get("t", 0.0)
    if (type(start) is not float and type(start) is not int) or not abs(start) < LATEST_S:
        return None
    if (type(since) is not float and type(since) is not int) or not abs(since) < LATEST_S:
        return None
    seconds = start + since
    time = round(seconds * SECOND_MS) + (now if seconds < RELATIVE_BELOW_S else 0)
    if not now - AGE_LIMIT_MS <= time <= now + AHEAD_LIMIT_MS:
        return None
    return quantity.name, quantity.unit, 0.0 + value, time


def resolve(record: object, base: dict[str, object], now: Millis) -> Resolved | None:
    """Apply the base fields to a record (4.6), and take its own into `base` for those after it.

    A record of nothing but base fields gives None. Raises KeptOutError with the reason.
    """
    if not isinstance(record, dict):
        raise KeptOutError(f"{quoted(record)} is not a record")
    # Base fields are taken over before anything is checked: a bad record does not undo them, and a bad base
    # field keeps out every record that leans on it.
    for label in _BASE_LABELS & record.keys():
        base[label] = record[label]
    if not record.keys() - _BASE_LABELS:
        return None
    name = (_text("bn", base) or "") + (_text("n", record) or "")
    value = _value(name, record, base)
    unit = _text("u", record) if "u" in record else _text("bu", base)
    return Resolved(name, unit, value, moment(_seconds(record, base), now))


def _seconds(record: Mapping[str, object], base: Mapping[str, object]) -> float:
    start = number("bt", base["bt"]) if "bt" in base else 0.0
    return start + number("t", record["t"]) if "t" in record else start


def _value(name: str, record: Mapping[str, object], base: Mapping[str, object]) -> float:
    if "s" in record or "bs" in base:
        raise KeptOutError(f"{quoted(name)} is a sum (s, bs); only values are taken")
    for label, kind in _OTHER_VALUES.items():
        if label in record:
            raise KeptOutError(
                f"{quoted(name)} has {kind} for its value ({label}); only numbers (v) are taken"
            )
    if "v" not in record:
        raise KeptOutError(f"{quoted(name)} has no value (v)")
    try:
        return number("bv", base.get("bv", 0)) + number("value", record["v"])
    except KeptOutError as fault:
        raise KeptOutError(f"{quoted(name)}: {fault}") from None


def _text(label: str, fields: Mapping[str, object]) -> str | None:
    """The text of a field, None where the field is missing."""
    if label not in fields:
        return None
    value = fields[label]
    if isinstance(value, str):
        return value
    raise KeptOutError(f"{label} {quoted(value)} is not a text")


def _reading(resolved: Resolved, place: str, node: str) -> Reading:
    """The record as a reading of this node. Raises KeptOutError with the reason."""
    name = resolved.name.removeprefix(f"{place}/{node}/")
    quantity = _quantity(name, resolved, f"{place}/{node}/")
    if not quantity.lowest <= resolved.value <= quantity.highest:
        limits = f"{quantity.lowest:g} to {quantity.highest:g} {quantity.unit}"
        raise KeptOutError(f"{name} {resolved.value:g} {quantity.unit} is outside {limits}")
    return Reading(place, node, name, quantity.unit, resolved.value, resolved.time)


def _quantity(name: str, resolved: Resolved, own: str) -> Quantity:
    quantity = QUANTITIES.get(name)
    if quantity is not None:
        if resolved.unit == quantity.unit:
            return quantity
        allowed = quantity.unit
    elif name == "battery":
        battery = BATTERY_UNITS.get(resolved.unit or "")
        if battery is not None:
            return battery
        allowed = " or ".join(BATTERY_UNITS)
    elif "/" in name or ":" in name:
        raise KeptOutError(f"name {quoted(resolved.name)} is not under this node's own {quoted(own)}")
    else:
        raise KeptOutError(f"name {quoted(name)} is not known; known are {_NAMES}")
    said = "no unit" if resolved.unit is None else f"unit {quoted(resolved.unit)}"
    raise KeptOutError(f"{name} has {said}; it must be {allowed}")


def _raw(record: object, payload: bytes) -> bytes:
    """The record as JSON, to be kept; the whole payload where even that cannot be written."""
    try:
        return json.dumps(record).encode()
    except RecursionError:
        return payload


def _span(millis: Millis) -> str:
    """A length of time as a person says it.

    >>> _span(300_000), _span(7_200_000), _span(30 * 86_400_000)
    ('5 min', '2 h', '30 days')
    """
    for size, word in ((DAY_MS, "days"), (HOUR_MS, "h"), (MINUTE_MS, "min")):
        if millis >= 2 * size:
            return f"{millis / size:.3g} {word}"
    return f"{millis / SECOND_MS:.4g} s"
