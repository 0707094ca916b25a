"""How fast this machine does the arithmetic that the quick kernel is made of, many lanes side by side."""

from time import process_time

import numpy as np

from server.drying.quick_math import entrance, expm1_of

LANES, TIMES = 1024, 4000


@entrance
def exponentials(values: np.ndarray, out: np.ndarray, times: int) -> None:
    """exp of every value, over and over."""
    for _ in range(times):
        for lane in range(values.size):
            out[lane] = expm1_of(values[lane] + 1e-9 * out[lane])


@entrance
def multiply_adds(values: np.ndarray, out: np.ndarray, times: int) -> None:
    """A product and a sum for every value, over and over, from the first cache and back to it."""
    for _ in range(times):
        for lane in range(values.size):
            out[lane] = out[lane] * 0.999 + values[lane]


@entrance
def divisions(values: np.ndarray, out: np.ndarray, times: int) -> None:
    """A division for every value, over and over."""
    for _ in range(times):
        for lane in range(values.size):
            out[lane] = values[lane] / (out[lane] + 2.0)


def measure() -> tuple[float, float, float]:
    """Seconds of one exponential, one multiply-add, one division."""
    values, found = np.linspace(0.1, 3.0, LANES), []
    for action in (exponentials, multiply_adds, divisions):
        out = np.zeros(LANES)
        action(values, out, 1)
        best = np.inf
        for _ in range(3):
            start = process_time()
            action(values, out, TIMES)
            best = min(best, process_time() - start)
        found.append(best / (LANES * TIMES))
    return found[0], found[1], found[2]
