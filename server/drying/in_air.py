"""A spot's wetness after a time in the air: its film reckoned anew as it dries, its cells stepped on."""

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying import kernel_choice
from server.drying.around import around_spot
from server.drying.build import Build
from server.drying.materials import Members
from server.drying.medium import Wetness

Floats = NDArray[np.float64]

SHORTEST_PIECE_S = 60.0
LONGEST_PIECE_S = 600.0
"""The film of air is reckoned anew in pieces that grow with the coat's age, between these [s]."""


def in_air(
    built: Build, members: Members, size_m: float, wetness: Wetness, air: Air, seconds: float, age_s: float
) -> tuple[Wetness, Floats]:
    """The wetness so many seconds later, and how far evaporation then cools the judged stations [K], (L,).

    size_m: length of the face along the air [m]; age_s: since the coat went on [s]. Raises ValueError for
    humidity that cannot be, and TransferRangeError for air that the model does not cover.
    """
    quick = kernel_choice.quick()
    if quick is not None and quick.knows(built, air):
        pieces = SHORTEST_PIECE_S, LONGEST_PIECE_S
        found: tuple[Wetness, Floats] = quick.in_air(
            built, members, size_m, wetness, air, seconds, age_s, pieces
        )
        return found
    return by_numpy(built, members, size_m, wetness, air, seconds, age_s)


def by_numpy(
    built: Build, members: Members, size_m: float, wetness: Wetness, air: Air, seconds: float, age_s: float
) -> tuple[Wetness, Floats]:
    """The same with the film reckoned in NumPy, whichever kernel steps the cells."""
    solver, done = built.solver, 0.0
    around = around_spot(built, members, size_m, wetness, air)
    while done < seconds:
        grown = min(max(age_s + done, SHORTEST_PIECE_S), LONGEST_PIECE_S)
        # The last piece may be longer by half rather than leave a crumb.
        piece = seconds - done if seconds - done < 1.5 * grown else grown
        wetness = solver.advance(wetness, around.air, piece)
        done = seconds if piece == seconds - done else done + piece
        around = around_spot(built, members, size_m, wetness, air)
    leaving = solver.evaporation(solver.settle(wetness, around.air), around.air)
    judged = leaving[:, built.network.judged_stations].sum(axis=1)
    return wetness, np.asarray(judged * around.air.latent_heat / around.through.judged_heat)
