"""How long to wait before the next attempt: longer after each failure, and never in step with others."""

import random
from collections.abc import Callable

SHORTEST_S = 1.0
LONGEST_S = 60.0


class BackOff:
    """Waits of 1, 2, 4 … up to 60 s, each cut at random to between a half and the whole of it.

    The cut keeps many clients of one broker from all coming back at the same moment. `chance` gives a
    number in [0, 1).

    >>> waits = BackOff(chance=lambda: 0.5)
    >>> [waits.next_s() for _ in range(8)]
    [0.75, 1.5, 3.0, 6.0, 12.0, 24.0, 45.0, 45.0]
    """

    def __init__(self, chance: Callable[[], float] = random.random) -> None:
        self._chance = chance
        self._whole_s = SHORTEST_S

    def next_s(self) -> float:
        """The next wait [s]."""
        whole_s, self._whole_s = self._whole_s, min(2.0 * self._whole_s, LONGEST_S)
        return whole_s * (0.5 + 0.5 * self._chance())

    def reset(self) -> None:
        """It worked: the next wait is a short one again."""
        self._whole_s = SHORTEST_S
