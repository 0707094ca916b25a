"""The quick kernel as the rest of the drying model calls it. Import it through `kernel_choice.quick` only."""

import numpy as np

from sensors.air import Air
from server.drying.build import Build
from server.drying.face import FaceShape
from server.drying.joint_shape import JointShape
from server.drying.joint_table import coupling_table
from server.drying.kernel import TURNED_SHARE, DryingError, Solver
from server.drying.materials import Members
from server.drying.medium import Surroundings, Wetness
from server.drying.pocket import PocketShape
from server.drying.quick_around import Place, Read, Taken
from server.drying.quick_around import in_air as through_air
from server.drying.quick_matrix import fill
from server.drying.quick_parts import Floats, Parts, air_of, own, parts_of, values_of
from server.drying.quick_time import advance as step_through
from server.drying.quick_time import room_for
from server.drying.transfer import covers, radiation_w_m2k


def advance(solver: Solver, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
    """What `Solver.advance` is to do."""
    parts = _parts(solver)
    values, temp, evaporated = values_of(state), own(state.temp_c), own(state.evaporated)
    proposal = step_through(
        parts, air_of(around), room_for(parts), values, temp, evaporated, float(state.step_s), float(seconds)
    )
    return _wetness(solver, values, temp, evaporated, proposal)


def knows(built: Build, air: Air) -> bool:
    """Whether `in_air` can take that spot through that air; what is wrong with the air, the twin says."""
    return (
        isinstance(built.shape, FaceShape | PocketShape | JointShape)
        and covers(air)
        and 0.0 <= air.rh_pct <= 100.0
    )


def in_air(
    built: Build,
    members: Members,
    size_m: float,
    wetness: Wetness,
    air: Air,
    seconds: float,
    age_s: float,
    pieces_s: tuple[float, float],
) -> tuple[Wetness, Floats]:
    """What `in_air.in_air` is to do, the film's pieces between these two lengths [s]."""
    solver = built.solver
    parts, place = _parts(solver), _place(built, size_m)
    values, temp, evaporated = values_of(wetness), own(wetness.temp_c), own(wetness.evaporated)
    cooling = np.empty(built.lanes)
    proposal = through_air(
        parts,
        place,
        _taken(built, members),
        Read(
            float(air.temp_c),
            float(air.rh_pct),
            float(air.speed_m_s),
            float(air.pressure_pa),
            float(air.temp_wide),
            float(air.rh_wide),
            float(radiation_w_m2k(float(air.temp_c))),
        ),
        values,
        temp,
        evaporated,
        float(wetness.step_s),
        float(seconds),
        float(age_s),
        *pieces_s,
        cooling,
    )
    return _wetness(solver, values, temp, evaporated, proposal), cooling


def _place(built: Build, size_m: float) -> Place:
    found: Place | None = built.solver.quick_place
    if found is not None and found.size_m == size_m:
        return found
    shape, network = built.shape, built.network
    joint = isinstance(shape, JointShape)
    edges, terms, layer = np.zeros(2), np.zeros((1, 1, 1)), np.ones(built.lanes)
    if isinstance(shape, JointShape):
        table = coupling_table(shape.angle_deg, shape.fillet_m)
        edges, terms, layer = table.edges, table.terms, built.by_lane(shape.layer_factor)
    found = Place(
        size_m=float(size_m),
        film_factor=own(built.film_factor),
        share=own(built.station_share),
        depth_m=float(shape.depth_m) if isinstance(shape, PocketShape) else 0.0,
        joint=joint,
        layer_factor=own(layer),
        edges=own(edges),
        terms=own(terms),
        area=own(network.station_area),
        judged=np.ascontiguousarray(network.judged_stations),
    )
    built.solver.quick_place = found
    return found


def _taken(built: Build, members: Members) -> Taken:
    known: tuple[Members, Taken] | None = built.solver.quick_taken
    if known is None or known[0] is not members:
        lanes = [own(built.by_lane(of)) for of in (members.temp_k, members.rh_pct, members.air_speed)]
        known = members, Taken(*lanes)
        built.solver.quick_taken = known
    return known[1]


def _parts(solver: Solver) -> Parts:
    found: Parts | None = solver.quick_parts
    if found is None:
        found = parts_of(solver.medium, solver.scale, solver.warmth, TURNED_SHARE)
        fill(found.filled, solver.stations)
        solver.quick_parts = found
    return found


def _wetness(
    solver: Solver, values: np.ndarray, temp: np.ndarray, evaporated: np.ndarray, proposal: float
) -> Wetness:
    if proposal < 0.0:
        raise DryingError(f"no step of more than {-proposal:g} s follows the water")
    stations = solver.stations
    surface = np.ascontiguousarray(values[:stations].T)
    saturation = np.ascontiguousarray(values[stations:].T)
    return Wetness(saturation, surface, temp, evaporated, proposal)
