"""A face: columns of cells behind an open surface, over the spread of the film.

A few columns stand for the whole (`exposure.spread_columns`): their weighted mean is what a scale sees, and
one of them sits at the slow tenth of the film, which is what the verdict looks at.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.drying.exposure import Exposure, spread_columns
from server.drying.network import Network
from server.drying.transfer import Film

Floats = NDArray[np.float64]

NEWEST_CELLS = 4
OLDER_CELLS = (3, 2, 2)
"""Cells of the coats under the newest, from the outside in; coats further down have one each."""

_GRADING = 1.3


def cell_counts(coats: int) -> tuple[int, ...]:
    """Cells of each coat, from the wax out: four in the newest, fewer the older.

    >>> cell_counts(6)
    (1, 1, 2, 2, 3, 4)
    """
    inwards = (NEWEST_CELLS, *OLDER_CELLS, *(1,) * coats)[:coats]
    return inwards[::-1]


def coat_edges(thickness_m: float, cells: int, newest: bool) -> Floats:
    """Depths of a coat's cell edges below its own outside [m], (cells + 1,).

    The newest coat's cells are finer to the surface.

    >>> coat_edges(1.0, 2, newest=False).tolist()
    [0.0, 0.5, 1.0]
    """
    share = np.linspace(0.0, 1.0, cells + 1)
    if newest:
        share = share**_GRADING
    return np.asarray(thickness_m * share)


@lru_cache(maxsize=512)
def face_network(thickness_m: tuple[float, ...], cells: tuple[int, ...]) -> Network:
    """The column under a square metre of face: coats from the wax out [m], with so many cells each."""
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
    """Saturation (L, cells) of the new column: the old coats' water kept coat by coat, the newest fresh.

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


class FaceShape:
    """How a face is made of columns, and how it meets the air. Values are per square metre."""

    columns = spread_columns()

    def network(self, thickness_m: tuple[float, ...]) -> Network:
        """The column of cells under the surface."""
        return face_network(thickness_m, cell_counts(len(thickness_m)))

    def carry(
        self, old: tuple[float, ...], saturation: Floats, new: tuple[float, ...], fresh: Floats
    ) -> Floats:
        """The saturation of every cell once another coat is on."""
        return carry_column(self.network(old), saturation, self.network(new), fresh)

    def exposure(self, thickness_m: tuple[float, ...], film: Film, radiation_w_m2k: float) -> Exposure:
        """What the film of each lane lets through."""
        return open_surface(film, radiation_w_m2k)


def open_surface(film: Film, radiation_w_m2k: float) -> Exposure:
    """A square metre behind a film and nothing else."""
    radiation = np.full(film.heat_w_m2k.shape, radiation_w_m2k)
    return Exposure(
        vapour=film.mass_m_s[:, None, None],
        convection=film.heat_w_m2k,
        radiation=radiation,
        judged_heat=film.heat_w_m2k + radiation,
    )
