"""From what was measured on trees to how well each member foretold it, and to what was learned there."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from server.drying import surface_temp, touch, weighing
from server.drying.looks import Look
from server.drying.materials import CoatKind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

Measured = Literal["weighing", "surface_temp", "touch", "colour"]

DISBELIEVED = 0.5
"""A measurement that is likelier than this to be a mistake is shown as disbelieved [-]."""


@dataclass(frozen=True)
class Told:
    """One measurement as the model takes it.

    number: its own, to name it by. spot: its code; a scale weighs the "face", for the whole tree.
    coat: which was the newest. value: the mass [kg], or how much cooler than a dry shell [K].
    error: of the value. word: what was felt or seen.
    """

    number: int
    kind: Measured
    spot: str
    coat: int
    value: float = 0.0
    error: float = 0.0
    word: str = ""


def log_likelihood(told: Sequence[Told], looks: Sequence[Look], area_m2: float | None) -> Floats:
    """How well (M,) members foretold what was measured on one tree, (M,): their differences tell.

    looks: what each member says would have been met, one for each measurement.
    """
    found = np.zeros(looks[0].activity.size)
    scale = [(one, look) for one, look in zip(told, looks, strict=True) if one.kind == "weighing"]
    if scale:
        water = np.stack([look.water_kg_m2 for _, look in scale])
        found += weighing.log_likelihood([_weighing(one) for one, _ in scale], water, area_m2)
    for one, look in zip(told, looks, strict=True):
        if one.kind == "surface_temp":
            found += surface_temp.log_likelihood(one.value, look.cooler_k, one.error)
        elif one.kind in ("touch", "colour"):
            found += np.log(
                touch.said_chance(one.word, look.activity, look.saturation, one.spot.startswith("pocket"))
            )
    return found


def disbelief(
    told: Sequence[Told], looks: Sequence[Look], weights: Floats, area_m2: float | None
) -> tuple[float, ...]:
    """How likely each measurement is a mistake, by members of such weights [-]."""
    scale = [index for index, one in enumerate(told) if one.kind == "weighing"]
    found = np.zeros(len(told))
    if scale:
        water = np.stack([looks[index].water_kg_m2 for index in scale])
        said = [_weighing(told[index]) for index in scale]
        found[scale] = weighing.disbelieved(said, water, weights, area_m2)
    for index, (one, look) in enumerate(zip(told, looks, strict=True)):
        if one.kind == "surface_temp":
            found[index] = surface_temp.disbelieved(one.value, look.cooler_k, weights, one.error)
        elif one.kind in ("touch", "colour"):
            in_pocket = one.spot.startswith("pocket")
            chance = weights @ touch.said_chance(one.word, look.activity, look.saturation, in_pocket)
            found[index] = touch.disbelieved(one.word, float(chance), in_pocket)
    return tuple(found.tolist())


def axes_told_of(told: Sequence[tuple[str, Sequence[CoatKind]]], axes: Sequence[str]) -> Bools:
    """Which parameters measurements can tell anything of, (axes,); the others are left as they are.

    told: for each, the spot's code and the kinds of the coats that were on, from the wax out.

    >>> axes_told_of([("face", ["backup"])], ["air_speed", "lee", "water", "water_seal"]).tolist()
    [True, False, True, False]
    """
    on = {kind for _, kinds in told for kind in kinds}
    older = {kind for _, kinds in told for kind in kinds[:-1]}
    spots = {spot.partition(":")[0] for spot, _ in told}
    found = []
    for axis in axes:
        base, _, kind = axis.rpartition("_")
        if axis == "joint_layer":
            found.append("joint" in spots)
        elif axis == "lee":
            found.append(bool(spots - {"face"}))
        elif axis == "rewetting":
            found.append(bool(older))
        elif kind in ("prime", "seal"):
            found.append(kind in (older if base == "rewetting" else on))
        else:
            found.append(True)
    return np.array(found, dtype=np.bool_)


@dataclass(frozen=True)
class Learned:
    """What was learned of one parameter: its value and spread (10th, 50th, 90th percentile), now and before.

    narrowed: spread now over what it was before [-], in the space where the prior is a normal.
    """

    axis: str
    now: tuple[float, float, float]
    before: tuple[float, float, float]
    narrowed: float


def learned(
    axes: Sequence[str],
    before: tuple[Floats, Floats],
    now: tuple[Floats, Floats],
    values: Sequence[tuple[tuple[float, float, float], tuple[float, float, float]]],
    moved: Bools,
) -> tuple[Learned, ...]:
    """What was learned, the most first: parameters whose spread shrank to four fifths or less.

    before, now: points (M, axes) and weights (M,). values: of each axis, (now, before). moved: see
    `axes_told_of`.
    """
    found = []
    for index, axis in enumerate(axes):
        spread_before, spread_now = _deviation(*before, index), _deviation(*now, index)
        if moved[index] and spread_now <= _TOLD * spread_before:
            found.append(Learned(axis, *values[index], spread_now / spread_before))
    return tuple(sorted(found, key=lambda one: one.narrowed))


_TOLD = 0.8


def _deviation(points: Floats, weights: Floats, index: int) -> float:
    column = points[:, index]
    mean = weights @ column
    return float(np.sqrt(weights @ np.square(column - mean)))


def _weighing(one: Told) -> weighing.Weighing:
    return weighing.Weighing(one.coat, one.value, one.error)
