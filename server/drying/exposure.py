"""What stands between a spot's surface and the room, and what a kind of spot must be able to say.

A new kind of spot is a class with these three methods and its columns; the solver and the shell need no more.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from server.drying.network import Network
from server.drying.transfer import Film

Floats = NDArray[np.float64]


SLOW_Z = 1.2815515655446004
"""The standard normal's 90th percentile: a tenth of the surface has a slower film."""

FACE_DEVIATES = np.array([-SLOW_Z, 0.0, SLOW_Z])
FACE_WEIGHTS = np.array([0.5 / SLOW_Z**2, 1.0 - 1.0 / SLOW_Z**2, 0.5 / SLOW_Z**2])
"""Three columns whose weights give the logarithm of the film its variance: two outer ones of 1/(2 z²)."""


@dataclass(frozen=True, eq=False)
class Exposure:
    """What the air lets through, per unit of the spot, L lanes, s stations.

    vapour: (L, s, s) water leaving station i for a vapour excess of 1 kg/m³ over station j [m³/s].
    convection, radiation: (L,) heat conductance to the air and to the room [W/K].
    judged_heat: (L,) both together for the part that is judged for cooling [W/K].
    """

    vapour: Floats
    convection: Floats
    radiation: Floats
    judged_heat: Floats


@dataclass(frozen=True, eq=False)
class Columns:
    """Where the film's spread is sampled: normal deviates, weights (sum 1), and which one is judged.

    deviates: (columns,) the same for all members, or (M, columns).
    """

    deviates: Floats
    weights: Floats
    slow: int

    def film_factors(self, spread: Floats) -> Floats:
        """Film over its mean in each column (M, columns), for (M,) standard deviations of its logarithm.

        The mean is that over the columns of a face, whichever of them these are.
        """
        mean = np.exp(spread[:, None] * FACE_DEVIATES) @ FACE_WEIGHTS
        return np.asarray(np.exp(spread[:, None] * self.deviates) / mean[:, None])


def spread_columns() -> Columns:
    """The columns of a face: the slow tenth of the film, the middle and the fast tenth.

    The film of air is not one number over a surface: windward and lee, top and underside. It is taken as
    lognormal about its mean.

    >>> columns = spread_columns()
    >>> float(columns.weights @ columns.deviates**2)
    1.0
    """
    return Columns(FACE_DEVIATES, FACE_WEIGHTS, slow=0)


def lone_column(lee: Floats) -> Columns:
    """The one column of a spot that is at one place of the film's spread, by each member's deviate (M,).

    >>> lone_column(np.array([-SLOW_Z, -SLOW_Z])).film_factors(np.array([0.0, 0.7])).round(3).tolist()
    [[1.0], [0.323]]
    """
    return Columns(deviates=lee[:, None], weights=np.ones(1), slow=0)


def slow_column() -> Columns:
    """One column at the slow tenth of the film, whatever the member.

    >>> slow_column().film_factors(np.array([0.7])).round(3).tolist()
    [[0.323]]
    """
    return lone_column(np.array([-SLOW_Z]))


class Shape(Protocol):
    """A kind of spot: how it is cut into cells, carries its water over a dip, and meets the air."""

    columns: Columns
    """The columns that each member has, which differ in their film only."""

    def network(self, thickness_m: tuple[float, ...]) -> Network:
        """The cells under coats of that thickness, given from the wax out [m]."""
        ...

    def carry(
        self, old: tuple[float, ...], saturation: Floats, new: tuple[float, ...], fresh: Floats
    ) -> Floats:
        """Saturation (L, cells) once another coat is on: the old keep their water, the new is `fresh`."""
        ...

    def exposure(self, thickness_m: tuple[float, ...], film: Film, radiation_w_m2k: float) -> Exposure:
        """What each lane's film, and what else is in the way, lets through."""
        ...
