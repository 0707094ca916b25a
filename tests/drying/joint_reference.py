"""What a two-dimensional solution says of a joint, and the strip run with the same constants.

Source of the table: computed, by finite elements for the shell with its fillet, coupled to vapour diffusing
through the still layer; half a symmetric joint, fillet 2 mm, coat 1 mm, 15 mm of flat beside it, 21 °C and
50 %RH. Hours until the fillet's mean water above equilibrium is down to 10 % and 5 % of what it was.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.humid_air import latent_heat_j_kg, saturation_density_kg_m3
from server.drying.face import face_network
from server.drying.joint import STATIONS, joint_network
from server.drying.joint_vapour import vapour_coupling
from server.drying.kernel import FIRST_STEP_S, Medium, Solver, Surroundings, Wetness, potential
from server.drying.materials import equilibrium_saturation
from server.drying.network import Network

Floats = NDArray[np.float64]

FILLET_M = 0.002
COAT_M = 0.001
AIR_C = 21.0
RH_PCT = 50.0
FULL_KG_M3 = 350.0
VAPOUR_M2_S = 2.5e-5
WAX_J_M2K = 2.0e4
RADIATION_W_M2K = 5.2
LAYERS_MM = (1.4, 2.5, 4.0)

# h from h_m = D_v/δ by Chilton and Colburn, h = h_m ρ c_p Le^(2/3); air at 21 °C: ρ 1.194 kg/m³,
# c_p 1010 J/kgK, thermal diffusivity 2.14e-5 m²/s (from memory). Conductance of the still layer, h δ [W/mK].
AIR_LAYER_W_MK = VAPOUR_M2_S * 1.194 * 1010.0 * (2.14e-5 / VAPOUR_M2_S) ** (2.0 / 3.0)


@dataclass(frozen=True)
class Slurry:
    """Diffusivity when dry [m²/s], its exponent, and water of the fresh coat [kg/m² on 1 mm]."""

    diffusivity: float
    exponent: float
    water: float


SLURRIES = {"N": Slurry(1e-10, 5.0, 0.35), "B": Slurry(1e-8, 3.0, 0.32)}

JOINT_HOURS = {
    ("N", 30.0): ((23.0, 41.0), (26.5, 44.5), (34.7, 52.9)),
    ("N", 60.0): ((5.1, 8.3), (6.9, 10.2), (9.9, 13.2)),
    ("N", 90.0): ((2.3, 3.3), (3.6, 4.7), (5.5, 6.6)),
    ("B", 30.0): ((2.6, 2.9), (4.8, 5.4), (8.6, 9.6)),
    ("B", 60.0): ((1.7, 1.8), (2.9, 3.1), (4.7, 5.1)),
    ("B", 90.0): ((1.4, 1.5), (2.4, 2.5), (3.7, 3.9)),
}
FLAT_HOURS = {
    "N": ((1.58, 2.14), (2.29, 2.88), (3.19, 3.81)),
    "B": ((1.13, 1.20), (1.87, 1.99), (2.77, 2.94)),
}


def surroundings(vapour: Floats, convection: float, radiation: float) -> Surroundings:
    """The table's air around a spot, one lane."""
    base = np.array([AIR_C - 5.0])
    step = 4.0
    low, here, high = (np.log(saturation_density_kg_m3(base + shift)) for shift in (-step, 0.0, step))
    return Surroundings(
        vapour=vapour,
        convection=np.array([convection]),
        radiation=np.array([radiation]),
        air_temp_c=np.array([AIR_C]),
        air_vapour=np.array([float(saturation_density_kg_m3(AIR_C)) * RH_PCT / 100.0]),
        ground_temp_c=base,
        saturation_log=np.stack(
            [here, (high - low) / (2.0 * step), (high - 2.0 * here + low) / (2.0 * step**2)]
        ),
        latent_heat=np.asarray(latent_heat_j_kg(base), dtype=np.float64),
    )


def medium(network: Network, slurry: Slurry, rewetting: float = 1.0) -> Medium:
    """The shell of one slurry on that network, one lane."""
    ease = slurry.diffusivity * FULL_KG_M3
    gaps = network.link_gap_outer + network.link_gap_inner
    link = (network.link_area * ease / gaps)[None, :]
    older = network.coat[network.link_inner] < network.coat.max()
    slowed = (
        network.link_area
        * ease
        / (
            network.link_gap_outer
            * np.where(network.coat[network.link_outer] < network.coat.max(), rewetting, 1.0)
            + network.link_gap_inner * rewetting
        )
    )
    return Medium(
        network=network,
        capacity=(network.volume * FULL_KG_M3)[None, :],
        saturation_kg_m3=np.full((1, network.cells), FULL_KG_M3),
        link=link,
        link_inward=np.where(network.link_inward & older, slowed[None, :], link),
        surface=(network.station_area * ease / network.station_gap)[None, :],
        exponent=np.array([slurry.exponent]),
        heat=np.array([WAX_J_M2K * network.wall_area]),
    )


def hours_to(
    network: Network,
    slurry: Slurry,
    around: Surroundings,
    share: Floats,
    saturation: Floats,
    limits: tuple[float, ...],
    brought: NDArray[np.bool_] | None = None,
    rewetting: float = 1.0,
) -> tuple[float, ...]:
    """Hours until the judged water above equilibrium is down to each limit of what it was.

    brought: cells whose judged water at the start is what it is reckoned over; all where not given.
    """
    solver = Solver(medium(network, slurry, rewetting))
    surface = potential(saturation[None, network.station_cell], np.array([slurry.exponent]))
    state = Wetness(saturation[None, :], surface, np.array([AIR_C]), np.zeros(1), FIRST_STEP_S)
    state = solver.settle(state, around)
    weight = network.volume * share
    dry = equilibrium_saturation(RH_PCT)

    def left(now: Wetness) -> float:
        return float(weight @ (now.saturation[0] - dry))

    found: list[float] = []
    whole = left(state) if brought is None else float((weight * brought) @ (state.saturation[0] - dry))
    seconds, before = 0.0, 1.0
    while len(found) < len(limits):
        piece = max(60.0, 0.02 * seconds)
        state = solver.advance(state, around, piece)
        seconds += piece
        now = left(state) / whole
        while len(found) < len(limits) and now <= limits[len(found)]:
            part = np.log(before / limits[len(found)]) / np.log(before / now)
            found.append((seconds - piece + part * piece) / 3600.0)
        before = now
        assert seconds < 400 * 3600.0, f"still {now:g} left after 400 h"
    return tuple(found)


def joint_hours(
    slurry: Slurry,
    angle: float,
    layer_mm: float,
    folded_heat: bool = True,
    older_coats: int = 0,
    stations: int = STATIONS,
    rewetting: float = 1.0,
) -> tuple[float, ...]:
    """Hours to 10 % and 5 % of a joint with a fresh coat, over older ones in equilibrium with the air.

    folded_heat: heat reaches the joint through the folded layer, as vapour leaves it; or else by h on all of
    its surface. What remains is reckoned over what the fresh coat brought where it is judged.
    """
    mesh = joint_network(angle, FILLET_M, (COAT_M,) * (older_coats + 1), stations)
    network = mesh.network
    coupling = vapour_coupling(mesh, layer_mm * 1e-3)
    area = float(network.station_area.sum())
    heat = AIR_LAYER_W_MK * (float(coupling.sum()) if folded_heat else area / (layer_mm * 1e-3))
    around = surroundings(VAPOUR_M2_S * coupling, heat, RADIATION_W_M2K * area)
    dry = equilibrium_saturation(RH_PCT)
    fresh = network.coat == older_coats
    start = np.where(fresh, slurry.water / (FULL_KG_M3 * COAT_M), dry)
    return hours_to(network, slurry, around, network.judged, start, (0.10, 0.05), fresh, rewetting)


def flat_hours(slurry: Slurry, layer_mm: float) -> tuple[float, ...]:
    """Hours to 10 % and 5 % of a flat coat."""
    network = face_network((COAT_M,), (8,))
    layer = layer_mm * 1e-3
    around = surroundings(np.full((1, 1, 1), VAPOUR_M2_S / layer), AIR_LAYER_W_MK / layer, RADIATION_W_M2K)
    start = np.full(network.cells, slurry.water / (FULL_KG_M3 * COAT_M))
    return hours_to(network, slurry, around, network.judged, start, (0.10, 0.05))
