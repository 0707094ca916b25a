"""A column under a square metre of surface, for tests that set every figure themselves."""

import numpy as np
from numpy.typing import NDArray

from sensors.humid_air import latent_heat_j_kg, saturation_density_kg_m3
from server.drying.face import face_network
from server.drying.kernel import FIRST_STEP_S
from server.drying.medium import Medium, Surroundings, Wetness, potential

Floats = NDArray[np.float64]


def column(
    cells: int,
    thickness_m: float = 1e-3,
    pores_kg_m3: float = 350.0,
    diffusivity_m2_s: float = 1e-8,
    exponent: float = 3.0,
    heat_j_m2k: float = 2e4,
    sorption: tuple[float, float] = (0.1, 3.0),
) -> Medium:
    """One coat in that many cells."""
    network = face_network((thickness_m,), (cells,))
    ease = diffusivity_m2_s * pores_kg_m3
    link = (ease * network.link_area / (network.link_gap_outer + network.link_gap_inner))[None]
    return Medium(
        network=network,
        capacity=(network.volume * pores_kg_m3)[None],
        saturation_kg_m3=np.full((1, cells), pores_kg_m3),
        link=link,
        link_inward=link,
        surface=(ease / network.station_gap)[None],
        exponent=np.array([exponent]),
        heat=np.array([heat_j_m2k]),
        sorption_limit=sorption[0],
        sorption_power=sorption[1],
    )


def evenly_wet(medium: Medium, saturation: float, temp_c: float) -> Wetness:
    """The same saturation all through."""
    state = np.full_like(medium.capacity, saturation)
    surface = potential(state[:, medium.network.station_cell], medium.exponent)
    return Wetness(state, surface, np.array([temp_c]), np.zeros(1), FIRST_STEP_S)


def surroundings(
    vapour_m_s: float,
    heat_w_m2k: float,
    temp_c: float,
    air_vapour: float,
    near_c: Floats,
    latent: float | None = None,
) -> Surroundings:
    """Air over a square metre; `latent` of 0 leaves the heat out."""
    low, here, high = np.log(saturation_density_kg_m3(near_c + np.array([[-1.0], [0.0], [1.0]])))
    return Surroundings(
        vapour=np.full((1, 1, 1), vapour_m_s),
        convection=np.array([heat_w_m2k]),
        radiation=np.zeros(1),
        air_temp_c=np.array([temp_c]),
        air_vapour=np.array([air_vapour]),
        ground_temp_c=near_c,
        saturation_log=np.stack([here, 0.5 * (high - low), 0.5 * (high - 2.0 * here + low)]),
        latent_heat=latent_heat_j_kg(near_c) if latent is None else np.array([latent]),
    )


def water(medium: Medium, state: Wetness) -> float:
    """Water in the column [kg/m²]."""
    return float((medium.capacity * state.saturation).sum())
