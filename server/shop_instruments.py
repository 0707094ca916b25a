"""What the shop measures with, as it is set: its scale and its thermometer."""

from server.drying.instruments import USUAL_SCALE_G, Instruments, weighing_error_kg
from server.drying.surface_temp import ERROR_K
from server.shop_setting import within
from server.store import shop
from server.store.engine import Engine

SCALE_SETTING = "scale_reads_to_g"
"""Key of the shop's setting for what its scale reads to [g]."""

THERMOMETER_SETTING = "thermometer_off_k"
"""Key of the shop's setting for how far two readings of its thermometer are off each other [K]."""

FINEST_SCALE_G, COARSEST_SCALE_G = 1.0, 100.0
"""A finer scale tells no more: what a draught lifts of a hanging tree is as much (assumed)."""

FINEST_K, COARSEST_K = 0.1, 3.0


def instruments_of(engine: Engine) -> Instruments:
    """How far off the shop's measurements may be; what is usual for a setting that cannot be."""
    scale = within(shop.setting(engine, SCALE_SETTING), FINEST_SCALE_G, COARSEST_SCALE_G, USUAL_SCALE_G)
    difference = within(shop.setting(engine, THERMOMETER_SETTING), FINEST_K, COARSEST_K, ERROR_K)
    return Instruments(weighing_error_kg(scale), difference)
