"""Draws a shop's members: many points of the priors, weighed by the published trial, a few of them kept.

The default draws, the members and the wider one that is learned from, are kept in files, for they take
seconds to make: `python -m server.drying.drawing` writes them anew, and a test holds them against the code.
"""

import csv
import hashlib
import json
import math
import os
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from server.drying.ensemble import ALONE, Ensemble
from server.drying.materials import Members
from server.drying.priors import PRIORS, Prior, members_at, names
from server.drying.trial import log_likelihood

Floats = NDArray[np.float64]

SEED = 2606
MEMBERS = 32
FEW_MEMBERS = 8
"""With the slower kernel."""
MOST_MEMBERS = 256
POOL = 512
"""Points that are weighed by the trial: about a quarter of them count, eight for each member that is kept."""

DEFAULT_FILE = Path(__file__).with_name("drawn_members.csv")
WIDE_FILE = Path(__file__).with_name("drawn_wide.csv")

_EDGE = 1e-9
_GROUPS = 4


def drawn(count: int = MEMBERS, seed: int = SEED, priors: tuple[Prior, ...] = PRIORS) -> Ensemble:
    """So many equally believed members; one is the centre alone, no draw.

    Raises ValueError for a count outside 1 to 256. Takes some seconds where it is not the default draw, or a
    part of it.
    """
    if not 1 <= count <= MOST_MEMBERS:
        raise ValueError(f"{count} members is outside 1 to {MOST_MEMBERS}")
    if count == 1:
        return ALONE
    if is_default(count, seed, priors):
        points = default_points()[_evenly(np.ones(MEMBERS) / MEMBERS, count)]
    else:
        points = drawn_points(count, seed, priors)
    return Ensemble(members_at(points, priors), np.full(count, 1.0 / count), seed=seed)


def is_default(count: int, seed: int, priors: tuple[Prior, ...]) -> bool:
    """Whether that draw is kept in a file, and costs nothing."""
    return (seed, priors) == (SEED, PRIORS) and count <= MEMBERS


def default_count() -> int:
    """How many members where nobody says: fewer where the quick kernel is missing.

    Decided without loading it, which takes a second.
    """
    quick = find_spec("numba") is not None and os.environ.get("SLOWCORNER_KERNEL") != "numpy"
    return MEMBERS if quick else FEW_MEMBERS


def drawn_points(count: int, seed: int, priors: tuple[Prior, ...] = PRIORS) -> Floats:
    """Points (count, axes) where every prior is a standard normal, such as the trial leaves believable.

    A scrambled Sobol sequence (Owen), its points weighed by the trial, and from them, in order of what a
    joint hangs on most, so many taken at even steps of the weight.
    """
    # Only here, for they take longer to load than all the rest.
    from scipy.special import ndtri  # noqa: PLC0415 - see above
    from scipy.stats import qmc  # noqa: PLC0415 - see above

    pool = max(POOL, 2 ** math.ceil(math.log2(8 * count)))
    uniform = qmc.Sobol(len(priors) + 1, scramble=True, rng=seed).random(pool)
    deviates = ndtri(np.clip(uniform, _EDGE, 1.0 - _EDGE))
    points = deviates[:, :-1]
    fits = log_likelihood(members_at(points, priors), deviates[:, -1])
    weights = np.exp(fits - fits.max())
    if not np.isfinite(weights).all():
        raise ValueError("the priors leave no member that follows the published trial at all")
    order = _in_order(members_at(points, priors), weights / weights.sum())
    return np.asarray(points[order][_evenly(weights[order] / weights.sum(), count)])


def wide_points(wide: int, seed: int = SEED, priors: tuple[Prior, ...] = PRIORS) -> Floats:
    """So many points (wide, axes), 256 at most, that members are picked from once something is measured.

    Takes some seconds the first time settings are not usual.
    """
    if not 1 <= wide <= MOST_MEMBERS:
        raise ValueError(f"{wide} points is outside 1 to {MOST_MEMBERS}")
    usual = (seed, priors) == (SEED, PRIORS)
    points = default_wide_points() if usual else _widest(seed, priors)
    return points[_evenly(np.full(MOST_MEMBERS, 1.0 / MOST_MEMBERS), wide)]


@lru_cache(maxsize=2)
def _widest(seed: int, priors: tuple[Prior, ...]) -> Floats:
    return drawn_points(MOST_MEMBERS, seed, priors)


def key_of(count: int, seed: int, priors: tuple[Prior, ...] = PRIORS) -> str:
    """A name for a draw: two draws of one name are the same."""
    said = [
        count,
        seed,
        POOL,
        [[prior.name, prior.form, prior.low, prior.centre, prior.high] for prior in priors],
    ]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:16]


@lru_cache(maxsize=1)
def default_points() -> Floats:
    """The kept points of the default draw (MEMBERS, axes)."""
    return _read(DEFAULT_FILE, MEMBERS)


@lru_cache(maxsize=1)
def default_wide_points() -> Floats:
    """The kept points that are learned from (MOST_MEMBERS, axes)."""
    return _read(WIDE_FILE, MOST_MEMBERS)


def write_default() -> None:
    """Make the default draws and keep them."""
    for kept, count in ((DEFAULT_FILE, MEMBERS), (WIDE_FILE, MOST_MEMBERS)):
        with kept.open("w", encoding="ascii", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(names())
            writer.writerows([[f"{figure:.10f}" for figure in point] for point in drawn_points(count, SEED)])


def _read(kept: Path, count: int) -> Floats:
    with kept.open(encoding="ascii", newline="") as file:
        head, *rows = csv.reader(file)
    if tuple(head) != names() or len(rows) != count:
        raise ValueError(f"{kept.name} is not the draw of these priors: write it anew")
    return np.array([[float(figure) for figure in row] for row in rows])


def _in_order(members: Members, weights: Floats) -> NDArray[np.int64]:
    """Members in four groups by how fast water moves in a half wet coat, and to and fro by a joint's film."""
    ease = np.log(members.diffusivity[:, 1]) + 0.5 * members.exponent
    film = 0.5 * np.log(members.air_speed) + members.film_spread * members.lee - np.log(members.joint_layer)
    by_ease = np.argsort(ease, kind="stable")
    group = np.empty(weights.size, dtype=np.int64)
    group[by_ease] = np.minimum(_GROUPS * np.cumsum(weights[by_ease]), _GROUPS - 1).astype(np.int64)
    return np.lexsort((np.where(group % 2 == 0, film, -film), group))


def _evenly(weights: Floats, count: int) -> NDArray[np.int64]:
    """Indices at even steps of the summed weight (sum 1), from the middle of the first step."""
    marks = (np.arange(count) + 0.5) / count
    return np.minimum(np.searchsorted(np.cumsum(weights), marks), weights.size - 1).astype(np.int64)


if __name__ == "__main__":
    write_default()
