"""What the quick kernel is handed: arrays with the lanes of a spot side by side, [cell, lane]."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.drying.medium import LINEAR_EXPONENT, Medium, Surroundings, Wetness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Parts(NamedTuple):
    """A spot's medium; unknowns are the s surfaces, then the n cells.

    link_a, link_b: (m,) unknowns joined, the outer first. hindered: (m,) where water moves inward less
    easily. link, link_inward, surface, capacity: (·, L) as in the medium. by_exponent: 1/b.
    under: (s,) unknown of the cell under each surface.
    filled: (unknowns, reach + 1) whether the factors have anything that far before the diagonal; the reach is
    how far apart in the order joined unknowns are.
    turning: (m, L) the error of a step in a cell beside the link, over what is allowed and over the step,
    for a fall of φ of 1 that has turned round there [1/s].
    scale: (n, L) what turns a change of saturation into an error, and warmth one of temperature.
    """

    link_a: Ints
    link_b: Ints
    hindered: NDArray[np.bool_]
    link: Floats
    link_inward: Floats
    turning: Floats
    under: Ints
    surface: Floats
    capacity: Floats
    scale: Floats
    filled: NDArray[np.bool_]
    exponent: Floats
    by_exponent: Floats
    heat: Floats
    sorption_limit: float
    sorption_power: float
    warmth: float


class Air(NamedTuple):
    """The air at the spot: `medium.Surroundings`, lanes last; `heat` is convection and radiation."""

    vapour: Floats
    heat: Floats
    temp_c: Floats
    vapour_kg_m3: Floats
    ground_c: Floats
    log_level: Floats
    log_slope: Floats
    log_curve: Floats
    latent: Floats


class Skin(NamedTuple):
    """Room for the surfaces, see `skin.Skin`."""

    surface: Floats
    activity: Floats
    slope: Floats
    drive: Floats
    out: Floats
    excess: Floats
    step: Floats
    wet: Floats
    matrix: Floats


class Room(NamedTuple):
    """Room for a step; unknowns by lanes unless said.

    phi: potential. fall: (n, L) one over its slope in S. links: (m, L) what the links let through now.
    band: (unknowns, reach + 1, L) the matrix, then its factors. inverse: of the pivots.
    dense: (s, s, L) the factors for the surfaces. border: (s, L) how the surfaces answer to the temperature.
    wet: (s, L) what leaves in all for each surface's potential. first, second, third: the stages.
    lanes: (rows, L) the rest; first the new temperature and what has evaporated.
    """

    skin: Skin
    phi: Floats
    fall: Floats
    links: Floats
    band: Floats
    inverse: Floats
    dense: Floats
    border: Floats
    wet: Floats
    first: Floats
    second: Floats
    third: Floats
    lanes: Floats


class Wet(NamedTuple):
    """How wet a spot is at one instant: the unknowns (s + n, L), and φ of the cells in the same rows."""

    values: Floats
    phi: Floats


def parts_of(medium: Medium, scale: Floats, warmth: float, turned_share: float) -> Parts:
    """A medium in the quick kernel's order; the rest as `kernel.Solver` has it."""
    network = medium.network
    stations = network.stations
    under = np.ascontiguousarray(network.station_cell + stations, dtype=np.int64)
    link_a = np.ascontiguousarray(network.link_outer + stations, dtype=np.int64)
    link_b = np.ascontiguousarray(network.link_inner + stations, dtype=np.int64)
    ends_a, ends_b = np.concatenate([link_a, under]), np.concatenate([link_b, np.arange(stations)])
    apart = np.abs(ends_a - ends_b)
    filled = np.zeros((stations + network.cells, max(int(apart.max()), stations - 1) + 1), dtype=np.bool_)
    filled[:, 0] = True
    filled[np.maximum(ends_a, ends_b), apart] = True

    allowed = scale / medium.capacity
    narrow = np.maximum(allowed[:, network.link_outer], allowed[:, network.link_inner])
    return Parts(
        link_a=link_a,
        link_b=link_b,
        hindered=(medium.link_inward != medium.link).any(axis=0),
        link=own(medium.link.T),
        link_inward=own(medium.link_inward.T),
        turning=own((turned_share * 0.5 * (medium.link - medium.link_inward) * narrow).T),
        under=under,
        surface=own(medium.surface.T),
        capacity=own(medium.capacity.T),
        scale=own(scale.T),
        filled=filled,
        exponent=own(np.maximum(medium.exponent, LINEAR_EXPONENT)),
        by_exponent=own(1.0 / np.maximum(medium.exponent, LINEAR_EXPONENT)),
        heat=own(medium.heat),
        sorption_limit=float(medium.sorption_limit),
        sorption_power=float(medium.sorption_power),
        warmth=float(warmth),
    )


def own(values: Floats) -> Floats:
    """A copy in rows, and of floats whatever it was: for other arrays the kernel would be compiled anew."""
    return np.array(values, dtype=np.float64, order="C")


def air_of(around: Surroundings) -> Air:
    """The air in the quick kernel's order."""
    level, slope, curve = around.saturation_log
    lanes = around.convection.shape
    return Air(
        vapour=own(np.moveaxis(around.vapour, 0, 2)),
        heat=own(around.convection + around.radiation),
        temp_c=own(np.broadcast_to(around.air_temp_c, lanes)),
        vapour_kg_m3=own(np.broadcast_to(around.air_vapour, lanes)),
        ground_c=own(around.ground_temp_c),
        log_level=own(level),
        log_slope=own(slope),
        log_curve=own(curve),
        latent=own(around.latent_heat),
    )


def values_of(state: Wetness) -> Floats:
    """The unknowns (s + n, L) of a state."""
    return own(np.concatenate([state.surface, state.saturation], axis=1).T)
