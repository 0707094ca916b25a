"""What a scale, a finger, an eye or a thermometer would meet at a spot, by each member."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying.medium import LINEAR_EXPONENT
from server.drying.shell import SpotShell

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Look:
    """A spot at one moment, (M,) each.

    water_kg_m2: all the water in the shell, as a mean over the spot [kg per m², per m of a joint].
    activity, saturation: of the surface at the judged place [-].
    cooler_k: dry shell in the same air less this spot [K].
    """

    water_kg_m2: Floats
    activity: Floats
    saturation: Floats
    cooler_k: Floats


def look_at(shell: SpotShell, air: Air | None) -> Look:
    """What would be met there in that air; with no air known nothing is cooler than the rest.

    A dry shell is taken to be as warm as the air: it follows within half an hour.
    """
    members, water = shell.members, shell.water_kg
    if shell.wetness is None or shell.built is None:
        nothing = np.zeros(members.count)
        return Look(water, nothing, nothing, nothing)
    built, surface = shell.built, shell.wetness.surface
    exponent = np.maximum(built.solver.medium.exponent, LINEAR_EXPONENT)[:, None]
    area = built.network.station_area * built.network.judged_stations
    share = area / area.sum()
    slow = built.shape.columns.slow

    def judged(lanes: Floats) -> Floats:
        return np.asarray(lanes.reshape(members.count, -1)[:, slow])

    dry_c = None if air is None else float(air.temp_c) + members.temp_k
    return Look(
        water_kg_m2=water,
        activity=judged(built.solver.activity(surface) @ share),
        saturation=judged((np.log1p(exponent * np.maximum(surface, 0.0)) / exponent) @ share),
        cooler_k=np.zeros(members.count) if dry_c is None else dry_c - shell.temp_c,
    )
