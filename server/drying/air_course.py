"""The air that is expected, as the members take it: each of them sees it as warm and as damp as its own
quantile of what the forecast may be off by, so that the doubt of the forecast is in what they say.
"""

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.materials import Members
from server.drying.transfer import HIGHEST_TEMP_C, LOWEST_TEMP_C

Floats = NDArray[np.float64]

_SEED = 20_260_302
"""Of the order in which the quantiles are dealt out; any would do, and it must stay the same."""


@dataclass(frozen=True, eq=False)
class AirCourse:
    """Air through time, by straight lines between points; after the last it stays as it is there.

    seconds: (n,) from now on, rising [s]. temp_c, rh_pct: the air [°C], [%RH]. temp_off, rh_off: what they
    may be off by, one standard deviation [K], [%RH]. now: the air whose speed and pressure hold throughout.
    """

    seconds: Floats
    temp_c: Floats
    rh_pct: Floats
    temp_off: Floats
    rh_off: Floats
    now: Air

    def at(self, seconds: float) -> Air:
        """The air so long from now, within what the model covers.

        >>> two = np.array([0.0, 100.0])
        >>> later = AirCourse(two, np.array([18.0, 20.0]), two / 2, two, two, Air(18.0, 0.0, 0.5)).at(50.0)
        >>> later.temp_c, later.rh_pct, later.speed_m_s
        (19.0, 25.0, 0.5)
        """
        temp_c = float(np.interp(seconds, self.seconds, self.temp_c))
        rh_pct = float(np.interp(seconds, self.seconds, self.rh_pct))
        return replace(
            self.now,
            temp_c=min(max(temp_c, LOWEST_TEMP_C), HIGHEST_TEMP_C),
            rh_pct=min(max(rh_pct, 0.0), 100.0),
            temp_wide=1.0,
            rh_wide=1.0,
        )

    def taken_by(self, members: Members, seconds: float) -> Members:
        """The members, each taking the air so long from now for its own quantile of it."""
        temp_z, rh_z = deviates(members.count)
        return replace(
            members,
            temp_k=members.temp_k + temp_z * float(np.interp(seconds, self.seconds, self.temp_off)),
            rh_pct=members.rh_pct + rh_z * float(np.interp(seconds, self.seconds, self.rh_off)),
        )


def deviates(count: int) -> tuple[Floats, Floats]:
    """Standard normal deviates (M,), (M,): evenly spread quantiles, dealt out twice independently.

    >>> [float(round(values.std(), 1)) for values in deviates(32)], deviates(1)[0].tolist()
    ([1.0, 1.0], [0.0])
    """
    even = np.array([NormalDist().inv_cdf((index + 0.5) / count) for index in range(count)])
    dealt = np.random.default_rng(_SEED)
    return even[dealt.permutation(count)], even[dealt.permutation(count)]
