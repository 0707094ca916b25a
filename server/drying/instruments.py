"""How far off what a caster measures with may be: a scale, and a thermometer's readings of two surfaces."""

from dataclasses import dataclass

from server.drying.surface_temp import ERROR_K
from server.drying.weighing import SCALE_ERROR_KG

USUAL_SCALE_G = 5.0
"""What a usual hanging scale reads to [g]."""


@dataclass(frozen=True)
class Instruments:
    """Standard deviations: of a weighing [kg], and of a surface's difference to a dry reference shell [K]."""

    weighing_kg: float = SCALE_ERROR_KG
    difference_k: float = ERROR_K


def weighing_error_kg(reads_to_g: float) -> float:
    """The error of a scale that reads to so much: the rounding's, and as much for its swing [kg].

    >>> weighing_error_kg(5.0), weighing_error_kg(1.0)
    (0.002, 0.0004)
    """
    return SCALE_ERROR_KG * reads_to_g / USUAL_SCALE_G
