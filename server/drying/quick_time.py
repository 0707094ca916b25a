"""The time loop of the quick kernel: steps with error control, twin of `numpy_step.NumpySteps.advance`."""

import numpy as np

from server.drying.kernel import LONGEST_STEP_S, MOST_GROWTH, SHORTEST_STEP_S
from server.drying.quick_math import compiled, copy_rows, entrance
from server.drying.quick_parts import Air, Parts, Room, Skin, Wet
from server.drying.quick_step import attempt, potentials
from server.drying.rosenbrock import ERROR_POWER


@entrance
def room_for(parts: Parts) -> Room:
    """Room for a step of that spot."""
    stations, lanes = parts.surface.shape
    cells = parts.capacity.shape[0]
    unknowns = stations + cells
    links = parts.link.shape[0]
    skin = Skin(
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, stations, lanes)),
        np.empty((stations, stations, lanes)),
    )
    return Room(
        skin,
        np.empty((unknowns, lanes)),
        np.empty((cells, lanes)),
        np.empty((links, lanes)),
        np.empty((unknowns, parts.filled.shape[1], lanes)),
        np.empty((unknowns, lanes)),
        np.empty((stations, stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((stations, lanes)),
        np.empty((unknowns, lanes)),
        np.empty((unknowns, lanes)),
        np.empty((unknowns, lanes)),
        np.empty((13, lanes)),
    )


@entrance
def advance(
    parts: Parts,
    air: Air,
    room: Room,
    values: np.ndarray,
    temp: np.ndarray,
    evaporated: np.ndarray,
    proposal: float,
    seconds: float,
) -> float:
    """Take the state on by so many seconds, in place; returns what `follow` does."""
    here = wet_at(parts, values)
    return follow(parts, air, room, here, room_for_another(here), temp, evaporated, proposal, seconds)


@compiled
def wet_at(parts: Parts, values: np.ndarray) -> Wet:
    """Those unknowns, not copied, with their φ."""
    phi = np.zeros(values.shape)
    potentials(parts, values, phi)
    return Wet(values, phi)


@compiled
def room_for_another(wet: Wet) -> Wet:
    """Room for as much again."""
    return Wet(np.empty(wet.values.shape), np.zeros(wet.phi.shape))


@compiled
def follow(
    parts: Parts,
    air: Air,
    room: Room,
    wet: Wet,
    spare: Wet,
    temp: np.ndarray,
    evaporated: np.ndarray,
    proposal: float,
    seconds: float,
) -> float:
    """Take `wet`, `temp` and what has evaporated on by so many seconds, in place; `spare` is room.

    Returns the step to try next [s], or minus the last one where no step is small enough.
    """
    done, most, here, there, turned = 0.0, MOST_GROWTH, wet, spare, False
    copy_rows(parts.link, room.links, parts.link_a.size)
    while seconds - done > 1e-9 * seconds:
        left = seconds - done
        step = left if proposal >= left else min(proposal, 0.5 * left)
        error = attempt(parts, air, room, here, there, temp, step)
        if not error <= 1.0:
            proposal = step * (max(0.2, 0.9 / error**ERROR_POWER) if np.isfinite(error) else 0.2)
            if proposal < SHORTEST_STEP_S:
                return -proposal
            most = 1.0
            continue
        here, there, turned = there, here, not turned
        for lane in range(temp.size):
            temp[lane] = room.lanes[0, lane]
            evaporated[lane] += room.lanes[1, lane]
        done += step
        grown = step * min(most, 0.9 / max(error, 1e-6) ** ERROR_POWER)
        proposal = min(LONGEST_STEP_S, max(grown, proposal) if step < proposal else grown)
        most = MOST_GROWTH
    if turned:
        copy_rows(spare.values, wet.values, wet.values.shape[0])
        copy_rows(spare.phi, wet.phi, wet.phi.shape[0])
    return proposal
