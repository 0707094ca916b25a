"""How far a step of the quick kernel may be off, over what is allowed."""

import numpy as np

from server.drying.kernel import LEAST_SATURATION
from server.drying.quick_math import compiled
from server.drying.quick_parts import Parts, Room
from server.drying.rosenbrock import E1, E2, E3, M1, M2, M3


@compiled
def result(parts: Parts, room: Room, values: np.ndarray, reached: np.ndarray) -> float:
    """What the step from `values` comes to, into `reached`, which has the surfaces as its start settled them.

    Returns the largest error over what is allowed, or how far a cell is dried beyond nothing over what is
    allowed, where that is too far and larger; NaN where anything is.
    """
    stations = parts.surface.shape[0]
    temp_1, temp_2, temp_3 = room.lanes[6], room.lanes[7], room.lanes[10]
    first, second, third = room.first, room.second, room.third
    worst, total, least = room.lanes[4], room.lanes[5], room.lanes[8]
    for i in range(stations):
        for lane in range(worst.size):
            reached[i, lane] += M1 * first[i, lane] + M2 * second[i, lane] + M3 * third[i, lane]
    for lane in range(worst.size):
        worst[lane] = abs(E1 * temp_1[lane] + E2 * temp_2[lane] + E3 * temp_3[lane]) * parts.warmth
        total[lane] = worst[lane]
        least[lane] = 0.0
    for k in range(parts.capacity.shape[0]):
        u = stations + k
        for lane in range(worst.size):
            one, two, three = first[u, lane], second[u, lane], third[u, lane]
            after = values[u, lane] + (M1 * one + M2 * two + M3 * three)
            error = abs(E1 * one + E2 * two + E3 * three)
            reached[u, lane] = after
            least[lane] = min(least[lane], after)
            total[lane] += error
            worst[lane] = max(worst[lane], error * parts.scale[k, lane])
    largest, lowest = 0.0, 0.0
    for lane in range(worst.size):
        if not np.isfinite(total[lane]):
            return np.nan
        largest = max(largest, worst[lane])
        lowest = min(lowest, least[lane])
    return max(largest, lowest / LEAST_SATURATION) if lowest < LEAST_SATURATION else largest


@compiled
def astray(parts: Parts, room: Room, began: np.ndarray, ended: np.ndarray, step: float) -> float:
    """The largest error by water that turned round at a hindered link, over what is allowed.

    began, ended: φ of the cells, in the rows of the unknowns.

    Twin of `numpy_step.NumpySteps._astray`.
    """
    worst = room.lanes[4]
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
