"""How far a step of the quick kernel may be off, over what is allowed."""

import numpy as np

from server.drying.kernel import LEAST_SATURATION
from server.drying.quick_math import compiled
from server.drying.quick_parts import Parts, Room
from server.drying.rosenbrock import E1, E2, E3


@compiled
def step_error(parts: Parts, room: Room) -> float:
    """The largest error of a step over what is allowed; NaN where anything is."""
    stations = parts.surface.shape[0]
    temp_1, temp_2, temp_3 = room.lanes[6], room.lanes[7], room.lanes[13]
    worst, total = room.lanes[4], room.lanes[5]
    for lane in range(worst.size):
        worst[lane] = abs(E1 * temp_1[lane] + E2 * temp_2[lane] + E3 * temp_3[lane]) * parts.warmth
        total[lane] = worst[lane]
    for k in range(parts.capacity.shape[0]):
        u = stations + k
        for lane in range(worst.size):
            error = abs(E1 * room.first[u, lane] + E2 * room.second[u, lane] + E3 * room.third[u, lane])
            total[lane] += error
            worst[lane] = max(worst[lane], error * parts.scale[k, lane])
    largest = 0.0
    for lane in range(worst.size):
        if not np.isfinite(total[lane]):
            return np.nan
        largest = max(largest, worst[lane])
    return largest


@compiled
def astray(parts: Parts, room: Room, step: float) -> float:
    """The largest error by water that turned round at a hindered link, over what is allowed.

    Twin of `numpy_step.NumpySteps._astray`.
    """
    began, ended, worst = room.began, room.ended, room.lanes[4]
    for lane in range(worst.size):
        worst[lane] = 0.0
    for link in range(parts.link_a.size):
        if parts.hindered[link]:
            a, b = parts.link_a[link], parts.link_b[link]
            for lane in range(worst.size):
                before = began[a, lane] - began[b, lane]
                after = ended[a, lane] - ended[b, lane]
                turned = (before > 0.0) != (after > 0.0)
                share = abs(after) / max(abs(after) + abs(before), 1e-300)
                wrong = parts.turning[link, lane] * (step * abs(after) * share)
                worst[lane] = max(worst[lane], wrong if turned else 0.0)
    largest = 0.0
    for lane in range(worst.size):
        largest = max(largest, worst[lane])
    return largest


@compiled
def below_nothing(parts: Parts, room: Room) -> float:
    """The most that a cell is dried beyond nothing, over what is allowed; 0 where that is not exceeded.

    Twin of `numpy_step.below_nothing`.
    """
    least, lowest = room.lanes[4], 0.0
    for lane in range(least.size):
        least[lane] = 0.0
    for u in range(parts.surface.shape[0], room.values.shape[0]):
        for lane in range(least.size):
            least[lane] = min(least[lane], room.values[u, lane])
    for lane in range(least.size):
        lowest = min(lowest, least[lane])
    return lowest / LEAST_SATURATION if lowest < LEAST_SATURATION else 0.0
