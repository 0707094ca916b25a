"""The common shape of every spot, cells of shell behind a surface: one solver serves them all.

A face is one station (a column of cells under one patch of surface); a joint is several, whose cells also
exchange water sideways and whose surfaces feel each other's vapour. Extensive values are per unit of the
spot: per square metre of a face or pocket floor, per metre of joint.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Network:
    """Geometry of a spot's shell, n cells, m links, s stations.

    volume: (n,) volume of each cell [m³ per unit].
    coat: (n,) index of the coat the cell belongs to, 0 on the wax; no cell straddles two coats.
    link_outer, link_inner: (m,) cells joined; the outer one is nearer the surface (sideways: either).
    link_area: (m,) area of the face they share [m² per unit].
    link_gap_outer, link_gap_inner: (m,) distance from each cell's centre to that face [m].
    link_inward: (m,) True where the link leads towards the wax, False sideways.
    station_cell: (s,) the surface cell of each station.
    station_area: (s,) surface area of each station [m² per unit].
    station_gap: (s,) distance from the surface cell's centre to the surface [m].
    judged: (n,) share of each cell's volume whose water counts as "remaining" (face: 1; joint: the fillet).
    judged_stations: (s,) True where the station's evaporation is the one judged for cooling.
    wall_area: area of wax behind the spot [m² per unit].
    """

    volume: Floats
    coat: Ints
    link_outer: Ints
    link_inner: Ints
    link_area: Floats
    link_gap_outer: Floats
    link_gap_inner: Floats
    link_inward: NDArray[np.bool_]
    station_cell: Ints
    station_area: Floats
    station_gap: Floats
    judged: Floats
    judged_stations: NDArray[np.bool_]
    wall_area: float

    @property
    def cells(self) -> int:
        """How many cells there are."""
        return int(self.volume.size)

    @property
    def stations(self) -> int:
        """How many surface stations there are."""
        return int(self.station_cell.size)
