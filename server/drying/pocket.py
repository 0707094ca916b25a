"""A pocket: a blind hole whose floor dries through the still air above it.

The floor is a face with a stagnant column of the pocket's depth before its film: vapour by Stefan's diffusion
(so evaporation goes as 1/depth), heat by conduction through the same column, and radiation from the pocket's
walls. With no depth it is a face.

Assumed: the air in the pocket stands still however wide the mouth is (a wide shallow dish is stirred by the
room's air and dries sooner than this says); the film over the mouth is the face's; the walls are at room
temperature and dry before the floor, so that their water is not counted and their vapour is not in the way.
Just after a dip the walls are wet too, and the floor is then slower than this says.
"""

import numpy as np
from numpy.typing import NDArray

from server.drying.exposure import Exposure, lone_column
from server.drying.face import carry_column, cell_counts, face_network
from server.drying.materials import Members
from server.drying.network import Network
from server.drying.transfer import Film

Floats = NDArray[np.float64]


class PocketShape:
    """A pocket's floor, per square metre of it."""

    def __init__(self, depth_m: float, members: Members) -> None:
        self.depth_m = depth_m
        self.columns = lone_column(members.lee)

    def network(self, thickness_m: tuple[float, ...]) -> Network:
        """The column of cells under the floor."""
        return face_network(thickness_m, cell_counts(len(thickness_m)))

    def carry(
        self, old: tuple[float, ...], saturation: Floats, new: tuple[float, ...], fresh: Floats
    ) -> Floats:
        """The saturation of every cell once another coat is on."""
        return carry_column(self.network(old), saturation, self.network(new), fresh)

    def exposure(self, thickness_m: tuple[float, ...], film: Film, radiation_w_m2k: float) -> Exposure:
        """What the column of still air and the film over the mouth let through."""
        vapour = 1.0 / (1.0 / film.mass_m_s + self.depth_m / stagnant_m2_s(film))
        convection = 1.0 / (1.0 / film.heat_w_m2k + self.depth_m / film.conductivity_w_mk)
        radiation = np.full(vapour.shape, radiation_w_m2k)
        return Exposure(vapour[:, None, None], convection, radiation, convection + radiation)


def stagnant_m2_s(film: Film) -> Floats:
    """Diffusivity of vapour through still air with Stefan's drift [m²/s]."""
    return np.asarray(film.vapour_diffusivity_m2_s * film.stefan)
