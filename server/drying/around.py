"""The air at a spot as the solver takes it: the film on its surface, and what that lets through."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from sensors.humid_air import latent_heat_j_kg, saturation_density_kg_m3, vapour_density_kg_m3
from server.drying.build import Build
from server.drying.exposure import Exposure
from server.drying.materials import Members
from server.drying.medium import Surroundings, Wetness
from server.drying.transfer import (
    FASTEST_M_S,
    HIGHEST_TEMP_C,
    LOWEST_TEMP_C,
    film,
    radiation_w_m2k,
)

Floats = NDArray[np.float64]

_EXPANSION_K = 3.0


@dataclass(frozen=True, eq=False)
class Around:
    """The air at a spot as the solver takes it, and what lets it through."""

    air: Surroundings
    through: Exposure


def around_spot(built: Build, members: Members, size_m: float, wetness: Wetness, air: Air) -> Around:
    """The air at a spot that is that wet, faces that long [m] beside it."""
    density = saturation_density_kg_m3(wetness.temp_c)
    temp_c, air_vapour, speed = air_of_members(built, members, air)
    at_surface = built.solver.activity(wetness.surface) @ built.station_share * density
    found = film(
        temp_c,
        air_vapour,
        speed,
        size_m,
        wetness.temp_c,
        at_surface,
        air.pressure_pa,
    ).times(built.film_factor)
    through = built.shape.exposure(built.thickness_m, found, radiation_w_m2k(float(air.temp_c)))
    near = saturation_density_kg_m3(wetness.temp_c + _EXPANSION_K * np.array([[-1.0], [0.0], [1.0]]))
    low, here, high = np.log(near)
    slope = (high - low) / (2.0 * _EXPANSION_K)
    half_curve = (high - 2.0 * here + low) / (2.0 * _EXPANSION_K**2)
    surroundings = Surroundings(
        vapour=through.vapour,
        convection=through.convection,
        radiation=through.radiation,
        air_temp_c=temp_c,
        air_vapour=air_vapour,
        ground_temp_c=wetness.temp_c,
        saturation_log=np.stack([here, slope, half_curve]),
        latent_heat=latent_heat_j_kg(wetness.temp_c),
    )
    return Around(surroundings, through)


def air_of_members(built: Build, members: Members, air: Air) -> tuple[Floats, Floats, Floats]:
    """Temperature [°C], vapour density [kg/m³] and speed [m/s] of the air as each lane's member takes it."""
    # What a member adds to a reading it adds more of where the air is less sure than one good sensor's.
    off_c, off_pct = (
        built.by_lane(members.temp_k) * air.temp_wide,
        built.by_lane(members.rh_pct) * air.rh_wide,
    )
    temp_c = _within(air.temp_c, air.temp_c + off_c, LOWEST_TEMP_C, HIGHEST_TEMP_C)
    rh_pct = _within(air.rh_pct, air.rh_pct + off_pct, 0.0, 100.0)
    speed = _within(air.speed_m_s, air.speed_m_s * built.by_lane(members.air_speed), 0.0, FASTEST_M_S)
    return temp_c, vapour_density_kg_m3(temp_c, rh_pct), speed


def _within(read: float, taken: Floats, lowest: float, highest: float) -> Floats:
    """What the members take a reading for, kept to what can be; one that cannot be is left to be refused."""
    if not lowest <= read <= highest:
        return np.full(taken.shape, float(read))
    return np.clip(taken, lowest, highest)


def no_air(built: Build, temp_c: Floats) -> Surroundings:
    """A gap in the record: nothing is exchanged with the air."""
    lanes, stations = built.lanes, built.network.stations
    none = np.zeros(lanes)
    return Surroundings(
        vapour=np.zeros((lanes, stations, stations)),
        convection=none,
        radiation=none,
        air_temp_c=none,
        air_vapour=none,
        ground_temp_c=temp_c,
        saturation_log=np.zeros((3, lanes)),
        latent_heat=none,
    )
