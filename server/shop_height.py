"""How high above the sea the shop stands, and so the pressure of its air."""

from sensors.humid_air import standard_pressure_pa
from server.shop_setting import within
from server.store import shop
from server.store.engine import Engine

ALTITUDE_SETTING = "altitude_m"
"""Key of the shop's setting for how high above the sea it stands [m]."""

LOWEST_ALTITUDE_M, HIGHEST_ALTITUDE_M = -400.0, 4000.0


def pressure_of(engine: Engine) -> float:
    """The usual pressure of the shop's air [Pa]: the standard atmosphere's at its height, weather aside.

    A setting that cannot be is as if it were not there: sea level.
    """
    said = shop.setting(engine, ALTITUDE_SETTING)
    return standard_pressure_pa(within(said, LOWEST_ALTITUDE_M, HIGHEST_ALTITUDE_M, 0.0))
