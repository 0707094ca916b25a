"""The vapour coupling of a joint, tabulated over the thickness of its still layer.

`joint_vapour.vapour_coupling` depends on the angle, the fillet's radius and the layer alone, and is too dear
to be reckoned whenever the film changes. Here it is made once for a joint, as Chebyshev polynomials over
short pieces of the layer's logarithm, with pieces parted where its formula changes. It is within 1e-6 of the
largest figure of the same station, for corners of 30° and more, and of the whole joint below.
"""

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.drying.corner import NARROW_FILLET, WIDE_FILLET
from server.drying.joint import joint_network
from server.drying.joint_vapour import MAX_LAYER_M, MIN_LAYER_M, vapour_coupling

Floats = NDArray[np.float64]

PIECE = 0.25
DEGREE = 10
_ANY_COAT_M = 1e-3
"""The coupling is of the surface alone: the coats under it do not matter."""


@dataclass(frozen=True, eq=False)
class CouplingTable:
    """Polynomials of δ G over t, which runs from −1 to 1 over a piece of ln δ.

    edges: (pieces + 1,) ln δ. terms: (pieces, degree + 1, pairs) by Chebyshev's polynomials; the pairs are
    stations (i, j) with j up to i, row by row. stations: how many.
    """

    edges: Floats
    terms: Floats
    stations: int

    def at(self, layer_m: ArrayLike) -> Floats:
        """The coupling G (L, s, s) [-] for (L,) thicknesses of the still layer [m], 0.1 to 50 mm."""
        layer = np.asarray(layer_m, dtype=np.float64)
        log = np.log(layer)
        piece = np.clip(np.searchsorted(self.edges, log, side="right") - 1, 0, len(self.terms) - 1)
        low, high = self.edges[piece], self.edges[piece + 1]
        t = ((2.0 * log - low - high) / (high - low))[:, None]
        terms = self.terms[piece]
        later, last = np.zeros_like(terms[:, 0]), np.zeros_like(terms[:, 0])
        for degree in range(terms.shape[1] - 1, 0, -1):
            later, last = terms[:, degree] + 2.0 * t * later - last, later
        pairs = (terms[:, 0] + t * later - last) / layer[:, None]
        coupling = np.empty((layer.size, self.stations, self.stations))
        i, j = np.tril_indices(self.stations)
        coupling[:, i, j] = pairs
        coupling[:, j, i] = pairs
        return coupling


@lru_cache(maxsize=256)
def coupling_table(angle_deg: float, fillet_m: float) -> CouplingTable:
    """The table of a joint of that included angle [°] and fillet [m]; the same whatever was asked before."""
    mesh = joint_network(angle_deg, fillet_m, (_ANY_COAT_M,))
    low, high = np.log(MIN_LAYER_M), np.log(MAX_LAYER_M)
    bends = np.log([fillet_m / WIDE_FILLET, fillet_m / NARROW_FILLET])
    ends = np.array([low, *bends[(bends > low) & (bends < high)], high])
    pieces = [
        np.linspace(start, end, max(int(np.ceil((end - start) / PIECE)), 1) + 1)
        for start, end in itertools.pairwise(ends)
    ]
    edges = np.concatenate([pieces[0], *(piece[1:] for piece in pieces[1:])])
    nodes = np.cos(np.pi * (np.arange(DEGREE + 1) + 0.5) / (DEGREE + 1))
    # The polynomial through Chebyshev's nodes: its terms are the discrete cosine transform of the values.
    to_terms = np.cos(np.outer(np.arange(DEGREE + 1), np.arccos(nodes))) * (2.0 / (DEGREE + 1))
    to_terms[0] *= 0.5
    i, j = np.tril_indices(mesh.grid.stations)
    terms = []
    for start, end in itertools.pairwise(edges):
        layer = np.exp(0.5 * (start + end) + 0.5 * (end - start) * nodes)
        terms.append(to_terms @ (vapour_coupling(mesh, layer)[:, i, j] * layer[:, None]))
    return CouplingTable(edges, np.stack(terms), mesh.grid.stations)
