"""Where a measurement is written down, whoever says it: it is checked, kept, and learned from."""

from collections.abc import Sequence
from dataclasses import dataclass

from sensors.clock import MINUTE_MS, Millis
from server.dip_desk import known_tree
from server.parts import Parts
from server.store import dips as dip_store
from server.store import measurements as measurement_store
from server.store import places as place_store
from server.store.values import Dip, MeasuredKind, Measurement, NewMeasurement, Tree

AHEAD_MS = MINUTE_MS
"""So far ahead a phone's clock may be before what it says is called the future [ms]."""

WORDS: dict[MeasuredKind, tuple[str, ...]] = {"touch": ("damp", "dry"), "colour": ("dark", "pale")}

COLDEST_C, HOTTEST_C = -20.0, 80.0
"""Surfaces of shells that a thermometer may have been held at [°C]."""


class MeasurementError(ValueError):
    """A measurement that cannot be: the message names the thing, the value and the limit."""


@dataclass(frozen=True)
class Measured:
    """What a person says was measured; see `server.store.values.NewMeasurement`. `at` is now where None."""

    kind: MeasuredKind
    at: Millis | None = None
    spot: str | None = None
    value: float | None = None
    reference_c: float | None = None
    word: str | None = None
    key: str | None = None


def take_measurement(parts: Parts, tree_id: int, said: Measured) -> tuple[Measurement, bool]:
    """Keep a measurement and have its place learn from it; also says whether it is a new one.

    Raises UnknownError, RefusedError where the tree is off the rack, MeasurementError where it cannot be.
    """
    tree, now = known_tree(parts, tree_id), parts.clock.now()
    at = now if said.at is None else said.at
    check(tree, dip_store.dips(parts.engine, tree_id), said, at, now)
    kept, new = measurement_store.add_measurement(
        parts.engine,
        NewMeasurement(
            tree_id, said.kind, at, now, said.spot, said.value, said.reference_c, said.word, said.key
        ),
    )
    if new:
        parts.rack.learn(tree.place, "measured")
    return kept, new


def undo_measurement(parts: Parts, tree_id: int, measurement_id: int) -> Measurement:
    """Take a measurement back; what was learned is learned again without it. Raises UnknownError."""
    tree = known_tree(parts, tree_id)
    standing = {
        one.id for one in measurement_store.measurements(parts.engine, tree_id) if one.undone_at is None
    }
    undone = measurement_store.undo_measurement(parts.engine, tree_id, measurement_id, parts.clock.now())
    if measurement_id in standing:
        parts.rack.learn(tree.place, "undone")
    return undone


def learn_anew(parts: Parts) -> None:
    """Have every place that was measured learn from it again, by the instruments that are set now."""
    for place in place_store.places(parts.engine):
        if measurement_store.place_measurements(parts.engine, place.id):
            parts.rack.learn(place.id, "instruments")


def check(tree: Tree, dips: Sequence[Dip], said: Measured, at: Millis, now: Millis) -> None:
    """Raise MeasurementError where a measurement of a tree with those coats on cannot be."""
    what = said.kind.replace("_", " ")
    if at > now + AHEAD_MS:
        raise MeasurementError(f"the {what} of {tree.label} is {(at - now) // MINUTE_MS} min in the future")
    if not dips:
        raise MeasurementError(f"{tree.label} has no coat on yet: there is nothing to learn from its {what}")
    if at < dips[0].at:
        early = max((dips[0].at - at) // MINUTE_MS, 1)
        raise MeasurementError(f"the {what} of {tree.label} is {early} min before its first dip")
    if said.kind == "weighing":
        _check_mass(tree, said)
        return
    known = [spot.code for spot in tree.spots]
    if said.spot not in known:
        raise MeasurementError(f"spot {said.spot!r} is none of {tree.label}'s: {', '.join(known)}")
    if said.kind == "surface_temp":
        for thing, value in (("surface", said.value), ("dry shell", said.reference_c)):
            if value is not None and not COLDEST_C <= value <= HOTTEST_C:
                raise MeasurementError(
                    f"{thing} of {value:g} °C is outside {COLDEST_C:g} to {HOTTEST_C:g} °C"
                )
        if said.value is None:
            raise MeasurementError("a surface temperature needs a figure")
    elif said.word not in WORDS[said.kind]:
        raise MeasurementError(f"{what} {said.word!r} is not one of {', '.join(WORDS[said.kind])}")


def _check_mass(tree: Tree, said: Measured) -> None:
    if said.value is None or not 0.0 < said.value <= 500.0:
        raise MeasurementError(f"weighing {said.value} kg is outside 0 to 500 kg")
    if tree.wax_kg is not None and said.value < tree.wax_kg:
        raise MeasurementError(
            f"weighing {said.value:g} kg is lighter than the wax of {tree.label} alone, {tree.wax_kg:g} kg"
        )
