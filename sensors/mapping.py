"""Other makers' nodes: how a payload that is no SenML is read, by topic filter and JSON pointers (RFC 6901).

A mapping names the topics it is for, whose node they speak of, and for each quantity where in the payload
its figure stands and in what unit. Topic filters are MQTT's own (MQTT 5.0, 4.7): `+` stands for one level,
`#` for the rest.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from jsonpointer import JsonPointer, JsonPointerException
from paho.mqtt.client import topic_matches_sub

from sensors.clock import DAY_MS, SECOND_MS, Millis, parse_time
from sensors.reading import BATTERY_UNITS, QUANTITIES, KeptOutError, Reading, Rejected
from sensors.senml import AGE_LIMIT_MS, AHEAD_LIMIT_MS, load_json
from sensors.topics import ROOT, check_slug, quoted
from sensors.units import UNITS

Format = Literal["json", "number"]
"""A payload in JSON, or one plain number as text."""

LONGEST_FILTER = 256
LONGEST_NUMBER = 40
"""A plain number has no more signs than this."""

TIME_UNITS = ("s", "ms", "text")
"""How a payload may say its time: seconds or milliseconds since 1970, or a date and time with its zone."""


class MappingError(ValueError):
    """A mapping that cannot be; the text names the thing, the value and the limit."""


@dataclass(frozen=True)
class Field:
    """Where one figure stands: the RFC 6901 `pointer` to it ("" is the whole payload), its unit, and how its
    maker scaled it: figure x scale + offset is in `unit`."""

    name: str
    pointer: str
    unit: str
    scale: float = 1.0
    offset: float = 0.0

    def __post_init__(self) -> None:
        if self.name not in UNITS:
            raise MappingError(f"quantity {quoted(self.name)} is none of {', '.join(UNITS)}")
        if self.unit not in UNITS[self.name]:
            raise MappingError(
                f"unit {quoted(self.unit)} of {self.name} is none of {', '.join(UNITS[self.name])}"
            )
        _check_pointer(self.name, self.pointer)
        if not math.isfinite(self.scale) or self.scale == 0.0:
            raise MappingError(f"scale {self.scale} of {self.name} is no number other than 0")
        if not math.isfinite(self.offset):
            raise MappingError(f"offset {self.offset} of {self.name} is no number")


@dataclass(frozen=True)
class TimeField:
    """Where the payload says when it was measured; `unit` is one of `TIME_UNITS`."""

    pointer: str
    unit: str = "s"

    def __post_init__(self) -> None:
        _check_pointer("time", self.pointer)
        if self.unit not in TIME_UNITS:
            raise MappingError(f"unit {quoted(self.unit)} of time is none of {', '.join(TIME_UNITS)}")


@dataclass(frozen=True)
class Mapping:
    """How one kind of payload is read.

    place, node: whose readings they are; `{1}` in them stands for the text of the filter's first `+`, and so
    on. time: where the payload says when; None takes the time of arrival.
    """

    topic_filter: str
    place: str
    node: str
    format: Format
    fields: tuple[Field, ...]
    time: TimeField | None = None

    def __post_init__(self) -> None:
        _check_filter(self.topic_filter)
        if self.format not in get_args(Format):
            raise MappingError(f"format {quoted(self.format)} is none of {', '.join(get_args(Format))}")
        if not self.fields:
            raise MappingError("a mapping reads at least one quantity, and none was given")
        names = [field.name for field in self.fields]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise MappingError(f"{twice} is read twice; a mapping reads each quantity once")
        if self.format == "number" and (len(self.fields) > 1 or self.fields[0].pointer or self.time):
            raise MappingError("a plain number is one quantity, with no pointer and no time of its own")
        blank = ["x"] * self.topic_filter.split("/").count("+")
        for what, said in (("place", self.place), ("node", self.node)):
            try:
                check_slug(what, _filled(said, blank))
            except KeptOutError as fault:
                raise MappingError(str(fault)) from None

    def matches(self, topic: str) -> bool:
        """Whether it is for that topic.

        >>> humidity = Field("humidity", "", "%RH")
        >>> Mapping("loft/+/air", "loft", "{1}", "number", (humidity,)).matches("loft/a/air")
        True
        """
        return bool(topic_matches_sub(self.topic_filter, topic))


def read_mapped(mapping: Mapping, topic: str, payload: bytes, arrived: Millis) -> "Mapped":
    """Read a payload by a mapping. Never raises: what cannot be taken comes rejected, with its reason.

    >>> air = Mapping("loft/air", "loft", "n7", "json", (Field("temperature", "/air/0/t", "degF"),))
    >>> read_mapped(air, "loft/air", b'{"air": [{"t": 70.7}]}', 5).readings
    (Reading(place='loft', node='n7', name='temperature', unit='Cel', value=21.5, time=5),)
    """

    def refused(reason: str) -> Rejected:
        return Rejected(topic, f"by the mapping of {mapping.topic_filter}: {reason}", payload, arrived)

    try:
        place, node = _whose(mapping, topic)
        content = _plain_number(payload) if mapping.format == "number" else load_json(payload)
        time = arrived if mapping.time is None else _time(mapping.time, content, arrived)
    except KeptOutError as fault:
        return Mapped((), (refused(str(fault)),))
    readings: list[Reading] = []
    rejected: list[Rejected] = []
    for field in mapping.fields:
        try:
            unit, value = _figure(field, content)
            readings.append(Reading(place, node, field.name, unit, value, time))
        except KeptOutError as fault:
            rejected.append(refused(str(fault)))
    return Mapped(tuple(readings), tuple(rejected))


@dataclass(frozen=True)
class Mapped:
    """What a payload came to: the readings, and what was kept out of it."""

    readings: tuple[Reading, ...]
    rejected: tuple[Rejected, ...]


def mapping_for(mappings: Sequence[Mapping], topic: str) -> Mapping | None:
    """The first mapping that is for that topic, None where none is."""
    return next((mapping for mapping in mappings if mapping.matches(topic)), None)


def _check_pointer(name: str, pointer: str) -> None:
    try:
        JsonPointer(pointer)
    except JsonPointerException:
        raise MappingError(
            f'pointer {quoted(pointer)} of {name} is no JSON pointer: it begins with "/", as in "/air/0/t"'
        ) from None


def _check_filter(topic_filter: str) -> None:
    """Check a topic filter (MQTT 5.0, 4.7.1); ours are read as SenML, and no mapping may take them."""
    levels = topic_filter.split("/")
    wild = [i for i, level in enumerate(levels) if ("+" in level or "#" in level) and level not in ("+", "#")]
    if not topic_filter or len(topic_filter) > LONGEST_FILTER or not topic_filter.isprintable():
        raise MappingError(
            f"topic filter {quoted(topic_filter)} is not 1 to {LONGEST_FILTER} printable signs"
        )
    if wild or "#" in levels[:-1]:
        raise MappingError(
            f'topic filter {quoted(topic_filter)}: "+" stands for a whole level, "#" for the rest at the end'
        )
    if levels[0] in (ROOT, "#", "+") or levels[0].startswith("$"):
        raise MappingError(
            f"topic filter {quoted(topic_filter)} must begin with a level of its own, not {quoted(levels[0])}"
        )


def _filled(said: str, levels: Sequence[str]) -> str:
    for number, level in enumerate(levels, start=1):
        said = said.replace(f"{{{number}}}", level)
    return said


def _whose(mapping: Mapping, topic: str) -> tuple[str, str]:
    pairs = zip(mapping.topic_filter.split("/"), topic.split("/"), strict=False)
    levels = [level for wanted, level in pairs if wanted == "+"]
    place, node = _filled(mapping.place, levels), _filled(mapping.node, levels)
    check_slug("place", place)
    check_slug("node", node)
    return place, node


def _plain_number(payload: bytes) -> object:
    text = payload.decode("utf-8", "replace").strip()
    try:
        if len(text) > LONGEST_NUMBER:
            raise ValueError
        return float(text)
    except ValueError:
        raise KeptOutError(f"{quoted(text)} is no plain number") from None


def _at(name: str, pointer: str, content: object) -> Any:
    try:
        return JsonPointer(pointer).resolve(content)
    except JsonPointerException:
        raise KeptOutError(f"there is nothing at {quoted(pointer)} for {name}") from None


def _number(name: str, said: Any) -> float:
    """A figure, also where it stands in quotes, as some makers write it."""
    try:
        if (
            isinstance(said, bool)
            or not isinstance(said, int | float | str)
            or len(str(said)) > LONGEST_NUMBER
        ):
            raise ValueError
        value = float(said)
    except (ValueError, OverflowError):
        raise KeptOutError(f"{name} {quoted(said)} is no number") from None
    if not math.isfinite(value):
        raise KeptOutError(f"{name} {quoted(said)} is no number")
    return value


def _figure(field: Field, content: object) -> tuple[str, float]:
    """The figure in the reading's own unit, held to what a sane instrument can report."""
    said = _number(field.name, _at(field.name, field.pointer, content))
    unit = UNITS[field.name][field.unit]
    # Twelve digits: so that 70.7 °F is 21.5 °C, and not what the last binary digit makes of it.
    value = float(f"{(said * field.scale + field.offset) * unit.factor + unit.shift:.12g}")
    limits = BATTERY_UNITS[unit.gives] if field.name == "battery" else QUANTITIES[field.name]
    if not limits.lowest <= value <= limits.highest:
        raise KeptOutError(
            f"{field.name} {said:g} comes to {value:g} {unit.gives}, "
            f"outside {limits.lowest:g} to {limits.highest:g} {unit.gives}"
        )
    return unit.gives, value


def _time(field: TimeField, content: object, arrived: Millis) -> Millis:
    said = _at("time", field.pointer, content)
    if field.unit == "text":
        time = float(_time_text(said))
    else:
        time = _number("time", said) * (SECOND_MS if field.unit == "s" else 1)
    where = "the node's clock or the mapping's unit is off"
    if time > arrived + AHEAD_LIMIT_MS:
        raise KeptOutError(f"time {quoted(said)} is in the future: {where}")
    if time < arrived - AGE_LIMIT_MS:
        raise KeptOutError(f"time {quoted(said)} is more than {AGE_LIMIT_MS // DAY_MS} days ago: {where}")
    return round(time)


def _time_text(said: Any) -> Millis:
    try:
        return parse_time(said)
    except (TypeError, ValueError, AttributeError):
        raise KeptOutError(f"time {quoted(said)} is no date and time with its zone") from None
