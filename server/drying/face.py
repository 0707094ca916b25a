"""A face: columns of cells behind an open surface, over the spread of the film.

The film of air is not one number over a surface: windward and lee, top and underside. It is taken as lognormal
about its mean. A few columns stand for the whole: their weighted mean is what a scale sees, and one of them sits
at the slow tenth of the film, which is what the verdict looks at.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.drying.network import Network

Floats = NDArray[np.float64]

NEWEST_CELLS = 4
OLDER_CELLS = (3, 2, 2)
"""Cells of the coats under the newest, from the outside in; coats further down have one each."""

SLOW_Z = 1.2815515655446004
"""The standard normal's 90th percentile: a tenth of the surface has a slower film."""

_GRADING = 1.3


@dataclass(frozen=True, eq=False)
class Columns:
    """Where the film's spread is sampled: standard normal deviates, weights (sum 1), and which one is judged."""

    deviates: Floats
    weights: Floats
    slow: int

    def film_factors(self, spread: Floats) -> Floats:
        """Film over its mean in each column (M, columns), for (M,) standard deviations of its logarithm."""
        raw = np.exp(spread[:, None] * self.deviates)
        return np.asarray(raw / (raw @ self.weights)[:, None])


def spread_columns() -> Columns:
    """The columns of a face: the slow tenth, the middle and the fast tenth.

    The weights give the lognormal's logarithm its variance: two outer weights of 1/(2 z²).

    >>> columns = spread_columns()
    >>> float(columns.weights @ columns.deviates**2)
    1.0
    """
    outer = 0.5 / SLOW_Z**2
    return Columns(
        deviates=np.array([-SLOW_Z, 0.0, SLOW_Z]), weights=np.array([outer, 1.0 - 2.0 * outer, outer]), slow=0
    )


def cell_counts(coats: int) -> tuple[int, ...]:
    """Cells of each coat, from the wax out: four in the newest, fewer the older.

    >>> cell_counts(6)
    (1, 1, 2, 2, 3, 4)
    """
    inwards = (NEWEST_CELLS, *OLDER_CELLS, *(1,) * coats)[:coats]
    return inwards[::-1]


def coat_edges(thickness_m: float, cells: int, newest: bool) -> Floats:
    """Depths of a coat's cell edges below its own outside [m], (cells + 1,); the newest is finer to the surface.

    >>> coat_edges(1.0, 2, newest=False).tolist()
    [0.0, 0.5, 1.0]
    """
    share = np.linspace(0.0, 1.0, cells + 1)
    if newest:
        share = share**_GRADING
    return np.asarray(thickness_m * share)


@lru_cache(maxsize=512)
def face_network(thickness_m: tuple[float, ...], cells: tuple[int, ...]) -> Network:
    """The column under a square metre of face, for coats given from the wax out [m] with so many cells each."""
    last = len(thickness_m) - 1
    edges, coats = [np.zeros(1)], []
    for coat in range(last, -1, -1):
        inside = coat_edges(thickness_m[coat], cells[coat], newest=coat == last)
        edges.append(edges[-1][-1] + inside[1:])
        coats += [coat] * cells[coat]
    width = np.diff(np.concatenate(edges))
    count = width.size
    outer = np.arange(count - 1)
    return Network(
        volume=width,
        coat=np.array(coats, dtype=np.int64),
        link_outer=outer,
        link_inner=outer + 1,
        link_area=np.ones(count - 1),
        link_gap_outer=0.5 * width[:-1],
        link_gap_inner=0.5 * width[1:],
        link_inward=np.ones(count - 1, dtype=np.bool_),
        station_cell=np.zeros(1, dtype=np.int64),
        station_area=np.ones(1),
        station_gap=0.5 * width[:1],
        judged=np.ones(count),
        judged_stations=np.ones(1, dtype=np.bool_),
        wall_area=1.0,
    )


def carry_column(old: Network, saturation: Floats, new: Network, fresh: Floats) -> Floats:
    """Saturation (L, cells) of the new column: the old coats' water kept coat by coat, the newest as it goes on.

    fresh: (L,) saturation of the newest coat.
    """
    newest = int(new.coat.max())
    carried = np.repeat(fresh[:, None], new.cells, axis=1)
    for coat in range(newest):
        before, after = np.flatnonzero(old.coat == coat), np.flatnonzero(new.coat == coat)
        edges_before = np.concatenate([[0.0], np.cumsum(old.volume[before])])
        edges_after = np.concatenate([[0.0], np.cumsum(new.volume[after])])
        overlap = np.minimum(edges_after[1:, None], edges_before[None, 1:]) - np.maximum(
            edges_after[:-1, None], edges_before[None, :-1]
        )
        share = np.maximum(overlap, 0.0)
        share /= share.sum(axis=1, keepdims=True)
        carried[:, after] = saturation[:, before] @ share.T
    return carried
