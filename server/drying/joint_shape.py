"""A joint as the shell needs it: its strip of cells, its water over a dip, and the air folded into it."""

import numpy as np
from numpy.typing import NDArray

from server.drying import joint_carry
from server.drying.exposure import Exposure, lone_column
from server.drying.joint import JointMesh, joint_network
from server.drying.joint_table import coupling_table
from server.drying.joint_vapour import MAX_LAYER_M, MIN_LAYER_M
from server.drying.materials import MaterialError, Members
from server.drying.network import Network
from server.drying.transfer import Film

Floats = NDArray[np.float64]


class JointShape:
    """Half of a symmetric joint, per metre of its length.

    The layer of still air is as thick as the film of the face beside it, times the member's factor.
    """

    def __init__(self, angle_deg: float, fillet_m: float, members: Members) -> None:
        if (members.fillet != members.fillet[0]).any():
            raise MaterialError("members with fillets of different radius do not share one strip of cells")
        self.angle_deg = angle_deg
        self.fillet_m = fillet_m * float(members.fillet[0])
        self.columns = lone_column(members.lee)
        self.layer_factor = members.joint_layer

    def mesh(self, thickness_m: tuple[float, ...]) -> JointMesh:
        """The strip with its geometry."""
        return joint_network(self.angle_deg, self.fillet_m, thickness_m)

    def network(self, thickness_m: tuple[float, ...]) -> Network:
        """The cells of the strip."""
        return self.mesh(thickness_m).network

    def carry(
        self, old: tuple[float, ...], saturation: Floats, new: tuple[float, ...], fresh: Floats
    ) -> Floats:
        """The saturation of every cell once another coat is on; flat that comes in is as the old end was."""
        return joint_carry.carry(self.mesh(old), saturation, self.mesh(new), fresh).saturation

    def exposure(self, thickness_m: tuple[float, ...], film: Film, radiation_w_m2k: float) -> Exposure:
        """What the folded layer lets through; heat goes the way vapour does."""
        network = self.network(thickness_m)
        # Layers beyond what the coupling covers let next to nothing, or next to everything, through.
        layer = np.clip(film.layer_m * self.layer_factor, MIN_LAYER_M, MAX_LAYER_M)
        coupling = coupling_table(self.angle_deg, self.fillet_m).at(layer)
        vapour = film.vapour_diffusivity_m2_s[:, None, None] * coupling
        heat = (film.heat_w_m2k / film.mass_m_s)[:, None] * vapour.sum(axis=2)
        radiation = radiation_w_m2k * network.station_area
        judged = network.judged_stations
        return Exposure(
            vapour=vapour,
            convection=heat.sum(axis=1),
            radiation=np.full(layer.shape, radiation.sum()),
            judged_heat=heat[:, judged].sum(axis=1) + radiation[judged].sum(),
        )
