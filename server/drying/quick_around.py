"""The air at a spot and the time in it, compiled: `around.around_spot` and `in_air.by_numpy`.

Faces, pockets and joints are known here; other spots meet the air in NumPy and are stepped by `quick_time`.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.drying.joint_vapour import MAX_LAYER_M, MIN_LAYER_M
from server.drying.quick_film import film_of, saturation_log_of, vapour_density_of
from server.drying.quick_math import compiled, copy_rows, entrance, exp_of
from server.drying.quick_parts import Air, Floats, Parts, Room, Wet
from server.drying.quick_skin import activity_at, settle
from server.drying.quick_step import saturated
from server.drying.quick_time import follow, room_for, room_for_another, wet_at
from server.drying.transfer import FASTEST_M_S, HIGHEST_TEMP_C, LOWEST_TEMP_C

EXPANSION_K = 3.0


class Place(NamedTuple):
    """What stands between a spot and the air, whatever the air.

    size_m: length of the face along the air [m]. film_factor: (L,) over the mean film. share: (s,) of the
    surface. depth_m: of the still column over a pocket [m], 0 for none. joint: whether it is one, and then
    layer_factor: (L,) on its still layer; edges, terms: of its `CouplingTable`; area: (s,) of the stations
    [m²]; judged: (s,) whether they count for cooling.
    """

    size_m: float
    film_factor: Floats
    share: Floats
    depth_m: float
    joint: bool
    layer_factor: Floats
    edges: Floats
    terms: Floats
    area: Floats
    judged: NDArray[np.bool_]


class Taken(NamedTuple):
    """What the lanes' members take a reading to be off by: K, %RH, and a factor on the speed, (L,) each."""

    temp_k: Floats
    rh_pct: Floats
    air_speed: Floats


class Read(NamedTuple):
    """The air as it was read: `air.Air`, and what the room radiates for each kelvin [W/m²K]."""

    temp_c: float
    rh_pct: float
    speed_m_s: float
    pressure_pa: float
    temp_wide: float
    rh_wide: float
    radiation_w_m2k: float


@entrance
def in_air(
    parts: Parts,
    place: Place,
    taken: Taken,
    read: Read,
    values: np.ndarray,
    temp: np.ndarray,
    evaporated: np.ndarray,
    proposal: float,
    seconds: float,
    age_s: float,
    shortest_s: float,
    longest_s: float,
    cooling: np.ndarray,
) -> float:
    """Take a state on in that air, in place, the film reckoned anew in pieces that grow with the age.

    Into `cooling` (L,) goes how far evaporation cools the judged stations at the end [K]. Returns what
    `quick_time.follow` does.
    """
    room, wet = room_for(parts), wet_at(parts, values)
    spare = room_for_another(wet)
    stations, lanes = parts.surface.shape
    air = Air(
        np.empty((stations, stations, lanes)),
        np.empty(lanes),
        np.empty(lanes),
        np.empty(lanes),
        np.empty(lanes),
        np.empty(lanes),
        np.empty(lanes),
        np.empty(lanes),
        np.empty(lanes),
    )
    judged_heat, speed = np.empty(lanes), np.empty(lanes)
    for lane in range(lanes):
        warm = read.temp_c + taken.temp_k[lane] * read.temp_wide
        air.temp_c[lane] = min(max(warm, LOWEST_TEMP_C), HIGHEST_TEMP_C)
        humidity = min(max(read.rh_pct + taken.rh_pct[lane] * read.rh_wide, 0.0), 100.0)
        air.vapour_kg_m3[lane] = vapour_density_of(air.temp_c[lane], humidity)
        speed[lane] = min(max(read.speed_m_s * taken.air_speed[lane], 0.0), FASTEST_M_S)
    done = 0.0
    meet(parts, place, read, speed, values, temp, room, air, judged_heat)
    while done < seconds:
        grown = min(max(age_s + done, shortest_s), longest_s)
        # The last piece may be longer by half rather than leave a crumb.
        piece = seconds - done if seconds - done < 1.5 * grown else grown
        proposal = follow(parts, air, room, wet, spare, temp, evaporated, proposal, piece)
        if proposal < 0.0:
            return proposal
        done = seconds if piece == seconds - done else done + piece
        meet(parts, place, read, speed, values, temp, room, air, judged_heat)
    cool(parts, place, air, wet, temp, room, judged_heat, cooling)
    return proposal


@compiled
def meet(
    parts: Parts,
    place: Place,
    read: Read,
    speed: np.ndarray,
    values: np.ndarray,
    temp: np.ndarray,
    room: Room,
    air: Air,
    judged_heat: np.ndarray,
) -> None:
    """Fill `air` with what a spot that is that wet and warm has around it."""
    stations, lanes = parts.surface.shape
    skin, wet, heat, mass = room.skin, room.lanes[4], room.lanes[5], room.lanes[6]
    diffusivity, conductivity, stefan = room.lanes[7], room.lanes[8], room.lanes[9]
    copy_rows(values, skin.surface, stations)
    activity_at(parts, skin.surface, skin.activity, skin.slope)
    for lane in range(lanes):
        wet[lane] = 0.0
    for i in range(stations):
        for lane in range(lanes):
            wet[lane] += skin.activity[i, lane] * place.share[i]
    grounds(temp, air)
    for lane in range(lanes):
        h, h_m, d_v, k, drift = film_of(
            air.temp_c[lane],
            air.vapour_kg_m3[lane],
            speed[lane],
            place.size_m,
            temp[lane],
            wet[lane] * exp_of(air.log_level[lane]),
            read.pressure_pa,
        )
        heat[lane], mass[lane] = h * place.film_factor[lane], h_m * place.film_factor[lane]
        diffusivity[lane], conductivity[lane], stefan[lane] = d_v, k, drift
    if place.joint:
        join(place, read, mass, heat, diffusivity, air, judged_heat)
        return
    for lane in range(lanes):
        if place.depth_m > 0.0:
            mass[lane] = 1.0 / (1.0 / mass[lane] + place.depth_m / (diffusivity[lane] * stefan[lane]))
            heat[lane] = 1.0 / (1.0 / heat[lane] + place.depth_m / conductivity[lane])
        air.vapour[0, 0, lane] = mass[lane]
        air.heat[lane] = heat[lane] + read.radiation_w_m2k
        judged_heat[lane] = air.heat[lane]


@compiled
def grounds(temp: np.ndarray, air: Air) -> None:
    """The saturation density around that temperature, and the heat it takes to evaporate."""
    for lane in range(temp.size):
        low = saturation_log_of(temp[lane] - EXPANSION_K)
        middle = saturation_log_of(temp[lane])
        high = saturation_log_of(temp[lane] + EXPANSION_K)
        air.ground_c[lane] = temp[lane]
        air.log_level[lane] = middle
        air.log_slope[lane] = (high - low) / (2.0 * EXPANSION_K)
        air.log_curve[lane] = (high - 2.0 * middle + low) / (2.0 * EXPANSION_K**2)
        air.latent[lane] = (2501.0 - 2.326 * temp[lane]) * 1e3


@compiled
def join(
    place: Place,
    read: Read,
    mass: np.ndarray,
    heat: np.ndarray,
    diffusivity: np.ndarray,
    air: Air,
    judged_heat: np.ndarray,
) -> None:
    """What a joint's film, and the still air in its corner, let through."""
    stations, area, judged_area = place.area.size, 0.0, 0.0
    for i in range(stations):
        area += place.area[i]
        judged_area += place.area[i] if place.judged[i] else 0.0
    pairs = np.empty((3, stations * (stations + 1) // 2))
    for lane in range(mass.size):
        layer = min(max(diffusivity[lane] / mass[lane] * place.layer_factor[lane], MIN_LAYER_M), MAX_LAYER_M)
        couple(place, layer, pairs)
        let_through, judged = 0.0, 0.0
        for i in range(stations):
            for j in range(stations):
                row, column = max(i, j), min(i, j)
                one = diffusivity[lane] * pairs[0, row * (row + 1) // 2 + column]
                air.vapour[i, j, lane] = one
                let_through += one
                judged += one if place.judged[i] else 0.0
        by_mass = heat[lane] / mass[lane]
        air.heat[lane] = by_mass * let_through + read.radiation_w_m2k * area
        judged_heat[lane] = by_mass * judged + read.radiation_w_m2k * judged_area


@compiled
def couple(place: Place, layer_m: float, pairs: np.ndarray) -> None:
    """`CouplingTable.at` for one layer, by pairs, into pairs[0]."""
    log = np.log(layer_m)
    piece = 0
    while piece < place.edges.size - 2 and place.edges[piece + 1] <= log:
        piece += 1
    low, high = place.edges[piece], place.edges[piece + 1]
    t = (2.0 * log - low - high) / (high - low)
    # Clenshaw's sums: pairs[1] is the later one, pairs[2] the last.
    for k in range(pairs.shape[1]):
        pairs[1, k] = 0.0
        pairs[2, k] = 0.0
    for degree in range(place.terms.shape[1] - 1, 0, -1):
        for k in range(pairs.shape[1]):
            later = place.terms[piece, degree, k] + 2.0 * t * pairs[1, k] - pairs[2, k]
            pairs[2, k] = pairs[1, k]
            pairs[1, k] = later
    for k in range(pairs.shape[1]):
        pairs[0, k] = (place.terms[piece, 0, k] + t * pairs[1, k] - pairs[2, k]) / layer_m


@compiled
def cool(
    parts: Parts,
    place: Place,
    air: Air,
    wet: Wet,
    temp: np.ndarray,
    room: Room,
    judged_heat: np.ndarray,
    cooling: np.ndarray,
) -> None:
    """How far evaporation cools the judged stations [K], the surfaces settled to the air."""
    stations = parts.surface.shape[0]
    skin, density = room.skin, room.lanes[2]
    saturated(air, temp, density, room.lanes[3])
    copy_rows(wet.values, skin.surface, stations)
    settle(parts, air, wet.phi, density, skin)
    for lane in range(temp.size):
        leaving = 0.0
        for i in range(stations):
            leaving += skin.out[i, lane] if place.judged[i] else 0.0
        cooling[lane] = leaving * air.latent[lane] / judged_heat[lane]
