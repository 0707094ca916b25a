"""Units that other makers' nodes speak in, and how each comes to the one a reading is kept in."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Unit:
    """A unit a figure may come in: figure x factor + shift is in the reading's own unit `gives`."""

    gives: str
    factor: float = 1.0
    shift: float = 0.0


UNITS: dict[str, dict[str, Unit]] = {
    "temperature": {
        "Cel": Unit("Cel"),
        "degF": Unit("Cel", 5.0 / 9.0, -160.0 / 9.0),
        "K": Unit("Cel", 1.0, -273.15),
    },
    "humidity": {"%RH": Unit("%RH"), "/": Unit("%RH", 100.0)},
    "airspeed": {"m/s": Unit("m/s"), "km/h": Unit("m/s", 1.0 / 3.6), "ft/min": Unit("m/s", 0.00508)},
    "mass": {"kg": Unit("kg"), "g": Unit("kg", 0.001), "lb": Unit("kg", 0.45359237)},
    "battery": {"V": Unit("V"), "mV": Unit("V", 0.001), "%EL": Unit("%EL"), "/": Unit("%EL", 100.0)},
}
"""For each quantity the units that are understood. Factors are exact by definition (NIST SP 811, B.8)."""

UNITS["surface"] = UNITS["temperature"]
