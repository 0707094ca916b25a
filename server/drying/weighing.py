"""What a scale tells: the curve of a tree's mass while its coats dry.

    mass_i = tare of its coat + area · water_i + error

The tare (wax, dry shell, hook) is not known and is another after each dip; the area is hardly known. Both are
integrated out in closed form: the tare under a flat prior, the area under normals. The error is the scale's,
or, rarely, anything at all: the sum goes over the readings as they are, and with any one or two disbelieved.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SCALE_ERROR_KG = 0.002
"""A hanging scale that reads to 5 g is off by 5/√12 = 1.4 g; with as much for its swing, 2 g [kg] (assumed).
A shop may say what its own reads to, see `instruments`.
"""

LOAD_CELL_ERROR_KG = 0.002
"""A load cell on a hook, 1 to 2 g [kg] (assumed)."""

ABSURD_SHARE = 0.03
"""One reading in so many is not what it says: a wrong tree, a hand on the hook (assumed) [-]."""

ABSURD_RANGE_KG = 10.0
"""Where an absurd reading may lie, anywhere alike [kg] (assumed)."""

MOST_ABSURD = 2
"""So many readings of one tree may be disbelieved at once."""

SMALLEST_M2, LARGEST_M2 = 0.005, 10.0
"""The areas that a tree may have [m²]; where none is said, each decade alike (assumed)."""

AREA_SPREAD = 0.15
"""How well a said area is known: standard deviation over the area [-] (assumed)."""

_GUESS_SPREAD = 0.5
_GUESSES = 16


@dataclass(frozen=True)
class Weighing:
    """One reading of a scale: of which coat (its number), how heavy [kg], and the scale's error [kg]."""

    coat: int
    kg: float
    error_kg: float = SCALE_ERROR_KG


def areas(area_m2: float | None) -> tuple[Floats, Floats]:
    """What is believed of the area: a mixture of normals in equal parts, their means and deviations [m²].

    >>> areas(0.2)[1].round(3).tolist()
    [0.03]
    """
    if area_m2 is not None:
        return np.array([area_m2]), np.array([AREA_SPREAD * area_m2])
    means = np.geomspace(SMALLEST_M2, LARGEST_M2, _GUESSES)
    return means, _GUESS_SPREAD * means


def log_likelihood(said: Sequence[Weighing], water_kg_m2: Floats, area_m2: float | None) -> Floats:
    """How well (M,) members foretold the weighings of one tree, (M,); their differences tell.

    water_kg_m2: (n, M) water in the shell at each weighing by each member [kg/m²].
    """
    return np.asarray(np.logaddexp.reduce(_by_case(said, water_kg_m2, area_m2), axis=0))


def disbelieved(
    said: Sequence[Weighing], water_kg_m2: Floats, weights: Floats, area_m2: float | None
) -> Floats:
    """How likely each weighing is absurd, by (M,) members with their weights before it, (n,) [-]."""
    with np.errstate(divide="ignore"):
        cases = np.logaddexp.reduce(_by_case(said, water_kg_m2, area_m2) + np.log(weights), axis=1)
    share = np.exp(cases - np.logaddexp.reduce(cases))
    found = np.zeros(len(said))
    for weight, out in zip(share, _out(len(said)), strict=True):
        found[list(out)] += weight
    return found


def _out(count: int) -> list[tuple[int, ...]]:
    """The readings that each case disbelieves. Of a single reading there is nothing to disbelieve."""
    most = min(MOST_ABSURD, max(count - 1, 0))
    return [out for size in range(most + 1) for out in combinations(range(count), size)]


def _by_case(said: Sequence[Weighing], water_kg_m2: Floats, area_m2: float | None) -> Floats:
    """Logarithm of the likelihood of each case times its own, (cases, M)."""
    kg = np.array([one.kg for one in said])
    kg -= kg.mean()  # the tare takes it up, and sums of squares lose no figures to it
    error = np.array([one.error_kg for one in said])
    coat = np.array([one.coat for one in said])
    means, spreads = areas(area_m2)
    own, absurd = np.log((1.0 - ABSURD_SHARE) / error), np.log(ABSURD_SHARE / ABSURD_RANGE_KG)
    found = []
    for out in _out(len(said)):
        weight = 1.0 / error**2
        weight[list(out)] = 0.0
        kept = weight > 0.0
        level = own[kept].sum() + absurd * len(out) - 0.5 * np.log(2.0 * np.pi) * kept.sum()
        # Sums of squares about each coat's own mean: the tares are integrated out under a flat prior.
        water_2, both, kg_2 = np.zeros(water_kg_m2.shape[1]), np.zeros(water_kg_m2.shape[1]), 0.0
        for number in np.unique(coat[kept]):
            here = weight * (coat == number)
            total = here.sum()
            level += 0.5 * np.log(2.0 * np.pi / total) - np.log(ABSURD_RANGE_KG)
            water = water_kg_m2 - here @ water_kg_m2 / total
            mass = kg - here @ kg / total
            water_2 += here @ water**2
            both += (here * mass) @ water
            kg_2 += here @ mass**2
        # exp(−½ Σ (mass − area · water)²) times the normal of the area, integrated over the area.
        precision = water_2[:, None] + spreads**-2.0
        centre = (both[:, None] + means * spreads**-2.0) / precision
        square = kg_2 + (means / spreads) ** 2 - precision * centre**2
        logs = level - 0.5 * np.maximum(square, 0.0) - 0.5 * np.log(precision * spreads**2)
        found.append(np.logaddexp.reduce(logs, axis=1) - np.log(means.size))
    return np.array(found)
