"""How fast a wet face would dry now: the one figure in which temperature, humidity and speed meet."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sensors.humid_air import (
    LOWEST_TEMP_C,
    STANDARD_PRESSURE_PA,
    latent_heat_j_kg,
    saturation_density_kg_m3,
    vapour_density_kg_m3,
)
from server.drying.transfer import film, radiation_w_m2k

Floats = NDArray[np.float64]

SIZE_M = 0.025
"""Length along the air of the face that is thought of [m]: a small casting's; assumed."""

COLDEST_BELOW_K = 45.0
"""A wet face is never colder than its air by more than this [K]: the wet bulb of dry air at 60 °C, the
hottest there is here, lies 39 K below it (psychrolib), and radiation warms the face."""

_HALVINGS = 40
_G_M2H = 1000.0 * 3600.0


def wet_face_g_m2h(
    temp_c: ArrayLike,
    rh_pct: ArrayLike,
    speed_m_s: ArrayLike,
    size_m: float = SIZE_M,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> Floats:
    """Water that leaves a wet face once it has cooled to its steady temperature [g/m²h].

    temp_c, rh_pct, speed_m_s: the air [°C, %RH, m/s], which broadcast; size_m: length along the air [m];
    pressure_pa: of the air [Pa].
    Heat comes by convection and by radiation from a room at the air's temperature, and goes as latent heat;
    nothing comes from behind. Raises what `film` raises where the air is outside the model.

    >>> wet_face_g_m2h(21.0, [50.0, 80.0, 100.0], 0.6).round(-1).tolist()
    [220.0, 80.0, 0.0]
    """
    air_c, rh, speed = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (temp_c, rh_pct, speed_m_s))
    )
    vapour = vapour_density_kg_m3(air_c, rh)
    radiation = np.vectorize(radiation_w_m2k, otypes=[float])(air_c) if air_c.size else air_c
    low, high = np.maximum(air_c - COLDEST_BELOW_K, LOWEST_TEMP_C), np.array(air_c)
    rate = np.zeros_like(air_c)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        wet = saturation_density_kg_m3(middle)
        between = film(air_c, vapour, speed, size_m, middle, wet, pressure_pa)
        rate = between.mass_m_s * (wet - vapour)
        gains = (between.heat_w_m2k + radiation) * (air_c - middle) > latent_heat_j_kg(middle) * rate
        low, high = np.where(gains, middle, low), np.where(gains, high, middle)
    return np.asarray(np.maximum(rate, 0.0) * _G_M2H)
