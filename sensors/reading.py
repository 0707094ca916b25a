"""A reading: one quantity, at one node, at one time; and what a payload that is none leaves behind."""

from dataclasses import dataclass
from typing import NamedTuple

from sensors.clock import Millis


@dataclass(frozen=True)
class Quantity:
    """What a node may measure: its SenML unit and the range a sane instrument can report, in that unit."""

    name: str
    unit: str
    lowest: float
    highest: float


QUANTITIES: dict[str, Quantity] = {
    quantity.name: quantity
    for quantity in (
        Quantity("temperature", "Cel", -40.0, 85.0),
        Quantity("humidity", "%RH", 0.0, 100.0),
        Quantity("airspeed", "m/s", 0.0, 30.0),
        Quantity("mass", "kg", -5.0, 500.0),
        Quantity("surface", "Cel", -40.0, 150.0),
    )
}
"""The quantities with one unit each. `battery` comes in volts or in per cent: see `BATTERY_UNITS`."""

BATTERY_UNITS: dict[str, Quantity] = {
    "V": Quantity("battery", "V", 0.0, 60.0),
    "%EL": Quantity("battery", "%EL", 0.0, 100.0),
}


class Reading(NamedTuple):
    """One value as a node said it. Its key is (place, node, name, time): the first one said stays.

    `value` is in `unit` (a SenML unit of `QUANTITIES`); `time` is shop time [ms].
    """

    place: str
    node: str
    name: str
    unit: str
    value: float
    time: Millis


@dataclass(frozen=True)
class Rejected:
    """A payload, or one record of it, that was kept out, with the reason a person can act on.

    `source` says where it came from (a topic, or "POST /api/readings"); `payload` is the raw bytes.
    """

    source: str
    reason: str
    payload: bytes
    arrived: Millis


@dataclass(frozen=True)
class NodeStatus:
    """A node's word, or its last will's, on whether it is there."""

    place: str
    node: str
    online: bool
    at: Millis


@dataclass(frozen=True)
class Press:
    """A press of a button: the next coat went on the tree on that hook.

    `id` names the press: said again under the same id it is the same press. `time` is shop time [ms].
    """

    place: str
    node: str
    hook: str
    id: str
    time: Millis


class KeptOutError(ValueError):
    """What a node said cannot be taken. The text is the reason: the thing, the value and the limit."""
