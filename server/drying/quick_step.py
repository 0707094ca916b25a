"""One step of the quick kernel: `rosenbrock`, twin of `numpy_step`."""

import numpy as np

from server.drying.quick_error import astray, result
from server.drying.quick_math import compiled, copy_rows, expm1_of
from server.drying.quick_matrix import border, eliminate, solve
from server.drying.quick_parts import Air, Parts, Room, Wet
from server.drying.quick_skin import settle
from server.drying.rosenbrock import C21, C31, C32, GAMMA, M1, M2, M3


@compiled
def attempt(
    parts: Parts, air: Air, room: Room, here: Wet, there: Wet, temp: np.ndarray, step: float
) -> float:
    """One step into `there` and the first rows of room.lanes; its error."""
    stations, lanes = parts.surface.shape
    skin, first, second, third = room.skin, room.first, room.second, room.third
    new_temp, out, density, log_slope = room.lanes[0], room.lanes[1], room.lanes[2], room.lanes[3]
    pivot, temp_1, temp_2 = room.lanes[5], room.lanes[6], room.lanes[7]
    warming, middle = room.lanes[8], room.lanes[9]
    out_1, out_2, temp_3 = room.lanes[11], room.lanes[12], room.lanes[10]
    rate = 1.0 / (GAMMA * step)

    choose_links(parts, room, here.phi)
    saturated(air, temp, density, log_slope)
    copy_rows(here.values, skin.surface, stations)
    settle(parts, air, here.phi, density, skin)
    eliminate(parts, room, here.phi, rate)
    borders(parts, air, room, density, log_slope, rate)

    balance(parts, air, room, here.phi, temp, first, warming)
    outflow(room, out_1)
    solve(parts, room, pivot, first, warming, air.latent, temp_1)
    follow_out(room, out_1, first, temp_1)
    # The result begins from the surfaces as they settled.
    copy_rows(skin.surface, there.values, stations)

    # The second stage, at what the first came to; water's way through hindered links stays the first's.
    for lane in range(lanes):
        middle[lane] = temp[lane] + temp_1[lane]
    moved_potentials(parts, here.values, first, room.phi)
    saturated(air, middle, density, log_slope)
    for i in range(stations):
        for lane in range(lanes):
            skin.surface[i, lane] = max(skin.surface[i, lane] + first[i, lane], 0.0)
    settle(parts, air, room.phi, density, skin)
    balance(parts, air, room, room.phi, middle, second, warming)
    # The third looks at the rates where the second did.
    copy_rows(second, third, stations)
    outflow(room, out_2)
    outflow(room, out)
    by_step = 1.0 / step
    for k in range(parts.capacity.shape[0]):
        u = stations + k
        for lane in range(lanes):
            third[u, lane] = second[u, lane]
            second[u, lane] += C21 * (parts.capacity[k, lane] * by_step) * first[u, lane]
    for lane in range(lanes):
        middle[lane] = warming[lane] + C21 * (parts.heat[lane] * by_step) * temp_1[lane]
    solve(parts, room, pivot, second, middle, air.latent, temp_2)
    follow_out(room, out_2, second, temp_2)

    for k in range(parts.capacity.shape[0]):
        u = stations + k
        for lane in range(lanes):
            earlier = C31 * first[u, lane] + C32 * second[u, lane]
            third[u, lane] += (parts.capacity[k, lane] * by_step) * earlier
    for lane in range(lanes):
        earlier = C31 * temp_1[lane] + C32 * temp_2[lane]
        middle[lane] = warming[lane] + (parts.heat[lane] * by_step) * earlier
    solve(parts, room, pivot, third, middle, air.latent, temp_3)
    follow_out(room, out, third, temp_3)

    for lane in range(lanes):
        out_2[lane] += (C21 * GAMMA) * out_1[lane]
        out[lane] += GAMMA * (C31 * out_1[lane] + C32 * out_2[lane])
        out[lane] = (GAMMA * step) * (M1 * out_1[lane] + M2 * out_2[lane] + M3 * out[lane])
    for lane in range(lanes):
        new_temp[lane] = temp[lane] + (M1 * temp_1[lane] + M2 * temp_2[lane] + M3 * temp_3[lane])
    error = result(parts, room, here.values, there.values)
    if not np.isfinite(error):
        return error
    potentials(parts, there.values, there.phi)
    return max(error, astray(parts, room, here.phi, there.phi, step))


@compiled
def potentials(parts: Parts, values: np.ndarray, phi: np.ndarray) -> None:
    """φ of every cell."""
    for u in range(parts.surface.shape[0], values.shape[0]):
        for lane in range(values.shape[1]):
            phi[u, lane] = expm1_of(parts.exponent[lane] * values[u, lane]) * parts.by_exponent[lane]


@compiled
def moved_potentials(parts: Parts, values: np.ndarray, moves: np.ndarray, phi: np.ndarray) -> None:
    """φ of every cell after its move."""
    for u in range(parts.surface.shape[0], values.shape[0]):
        for lane in range(values.shape[1]):
            there = values[u, lane] + moves[u, lane]
            phi[u, lane] = expm1_of(parts.exponent[lane] * there) * parts.by_exponent[lane]


@compiled
def choose_links(parts: Parts, room: Room, phi: np.ndarray) -> None:
    """What the hindered links let through the way water moves now; the others always let through the same."""
    for link in range(parts.link_a.size):
        a, b = parts.link_a[link], parts.link_b[link]
        if parts.hindered[link]:
            for lane in range(room.links.shape[1]):
                inward = phi[a, lane] > phi[b, lane]
                free, slow = parts.link[link, lane], parts.link_inward[link, lane]
                room.links[link, lane] = slow if inward else free


@compiled
def saturated(air: Air, temp: np.ndarray, density: np.ndarray, log_slope: np.ndarray) -> None:
    """Saturation density at the surfaces [kg/m³] and the slope of its logarithm [1/K]."""
    for lane in range(temp.size):
        beyond = temp[lane] - air.ground_c[lane]
        log = air.log_level[lane] + beyond * (air.log_slope[lane] + air.log_curve[lane] * beyond)
        density[lane] = expm1_of(log) + 1.0
    for lane in range(temp.size):
        log_slope[lane] = air.log_slope[lane] + 2.0 * air.log_curve[lane] * (temp[lane] - air.ground_c[lane])


@compiled
def borders(
    parts: Parts, air: Air, room: Room, density: np.ndarray, log_slope: np.ndarray, rate: float
) -> None:
    """What the temperature does to the surfaces and they to it; see `quick_matrix.solve`."""
    stations, lanes = parts.surface.shape
    skin, warm, pivot = room.skin, room.lanes[4], room.lanes[5]
    for i in range(stations):
        for lane in range(lanes):
            skin.drive[i, lane] = skin.activity[i, lane] * (density[lane] * log_slope[lane])
    for lane in range(lanes):
        warm[lane] = 0.0
    for i in range(stations):
        for lane in range(lanes):
            room.border[i, lane] = 0.0
            room.wet[i, lane] = 0.0
    for i in range(stations):
        for j in range(stations):
            for lane in range(lanes):
                room.border[i, lane] += air.vapour[i, j, lane] * skin.drive[j, lane]
            for lane in range(lanes):
                room.wet[j, lane] += skin.wet[i, j, lane]
        for lane in range(lanes):
            warm[lane] += room.border[i, lane]
    for lane in range(lanes):
        pivot[lane] = parts.heat[lane] * rate + air.heat[lane] + air.latent[lane] * warm[lane]
    border(room)
    for j in range(stations):
        for lane in range(lanes):
            pivot[lane] -= air.latent[lane] * room.wet[j, lane] * room.border[j, lane]


@compiled
def balance(
    parts: Parts,
    air: Air,
    room: Room,
    phi: np.ndarray,
    temp: np.ndarray,
    into: np.ndarray,
    warming: np.ndarray,
) -> None:
    """What flows into each unknown [kg/s] and into the heat [W], by the cells' potentials `phi`."""
    stations, lanes = parts.surface.shape
    skin = room.skin
    for u in range(stations, into.shape[0]):
        for lane in range(lanes):
            into[u, lane] = 0.0
    copy_rows(skin.excess, into, stations)
    for link in range(parts.link_a.size):
        a, b = parts.link_a[link], parts.link_b[link]
        for lane in range(lanes):
            flux = room.links[link, lane] * (phi[a, lane] - phi[b, lane])
            into[a, lane] -= flux
            into[b, lane] += flux
    for lane in range(lanes):
        warming[lane] = 0.0
    for i in range(stations):
        under = parts.under[i]
        for lane in range(lanes):
            into[under, lane] -= parts.surface[i, lane] * (phi[under, lane] - skin.surface[i, lane])
        for lane in range(lanes):
            warming[lane] += skin.out[i, lane]
    for lane in range(lanes):
        warming[lane] = air.heat[lane] * (air.temp_c[lane] - temp[lane]) - air.latent[lane] * warming[lane]


@compiled
def outflow(room: Room, out: np.ndarray) -> None:
    """What evaporates now."""
    for lane in range(out.size):
        out[lane] = 0.0
    for i in range(room.skin.out.shape[0]):
        for lane in range(out.size):
            out[lane] += room.skin.out[i, lane]


@compiled
def follow_out(room: Room, out: np.ndarray, moved: np.ndarray, temp_moved: np.ndarray) -> None:
    """Add what evaporates for the moves of a stage."""
    for j in range(room.wet.shape[0]):
        for lane in range(out.size):
            out[lane] += room.wet[j, lane] * moved[j, lane]
    for lane in range(out.size):
        out[lane] += room.lanes[4, lane] * temp_moved[lane]
