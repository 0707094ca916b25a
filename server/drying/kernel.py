"""The solver: water through the cells of one spot, out of its surface, and the heat that goes with it.

Several lanes (members, or columns of a face) share one network of cells and one step, and are solved
together; spots never are, so that a spot's numbers depend on nothing but its own calls.

Unknowns of a lane: the potential φ at each station's surface, the saturation S of each cell, the
temperature T.

    cell      capacity dS/dt = Σ g (φ_neighbour − φ)              φ = (exp(b S) − 1) / b
    surface   0 = g (φ_cell − φ_surface) − E,   E = K ψ           ψ = a_w(S_surface) ρ_sat(T) − ρ_air
    heat      C dT/dt = H (T_air − T) + H_r (T_air − T) − L Σ E

φ is a Kirchhoff potential: diffusivity D0 exp(b S) integrated over S. All coats share b, so φ, S and the
water activity are continuous from coat to coat, and a coat enters by its own g only. The surface is a
massless unknown half a cell out: without it the time to dry comes out 10 to 18 % short at four cells a coat.

Time: a Rosenbrock method of order three with error control, see `rosenbrock`. A step holds the links that
hinder water to the way it moves at the step's start; what goes wrong where it turns round within the step
counts as an error. To look anew in the later stages would cost the method its stability: where water comes to
rest at such a link, steps would stay short for hours.

Two kernels take the same steps, to rounding: `quick_time`, compiled, where Numba is installed, and
`numpy_step`, its twin.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.drying import kernel_choice
from server.drying.medium import LINEAR_EXPONENT, saturation_log
from server.drying.medium import Medium as Medium
from server.drying.medium import Surroundings as Surroundings
from server.drying.medium import Wetness as Wetness
from server.drying.medium import potential as potential
from server.drying.skin import SkinSolver

Floats = NDArray[np.float64]

FIRST_STEP_S = 0.5
LONGEST_STEP_S = 600.0
SHORTEST_STEP_S = 1e-7
MOST_GROWTH = 4.0
TOLERANCE_KG_M3 = 0.3
TOLERANCE_K = 0.03
"""The errors allowed a step: at most 2.7 s off CVODE in when a coat is fit, over all cases of the tests; two
thirds of them cost a seventh more time and are at most 2.4 s off (measured).
"""
TURNED_SHARE = 0.5
"""How much an error by water that turned round counts beside others [-]: to count it whole costs a fifth more
steps, and the error stays below a thousandth of a coat's water as it is (measured).
"""
LEAST_SATURATION = -5e-7
"""How far below nothing a step may overshoot that dries a cell out [-]; one that goes further is refused,
however small its error."""


class DryingError(ArithmeticError):
    """The solver found no step that it could take."""


class Solver:
    """Advances the wetness of one spot through its medium."""

    def __init__(self, medium: Medium, tolerance: float = TOLERANCE_KG_M3) -> None:
        """`tolerance` is the error allowed a step in a cell's water [kg/m³]; the temperature's follows it."""
        self.medium = medium
        self.scale = medium.saturation_kg_m3 / tolerance
        self.warmth = TOLERANCE_KG_M3 / (tolerance * TOLERANCE_K)
        network = medium.network
        self.lanes, self.cells = int(medium.capacity.shape[0]), network.cells
        self.stations = network.stations
        self.exponent = np.maximum(medium.exponent, LINEAR_EXPONENT)[:, None]
        self.skin = SkinSolver(medium)
        self.quick_parts: Any = None
        self.quick_place: Any = None
        self.quick_taken: Any = None
        self.numpy_steps: Any = None
        """What the kernels have made of the medium, the spot's place in the air, and its members."""

    def activity(self, surface: Floats) -> Floats:
        """Water activity (L, s) of surfaces at that potential [-]."""
        return self.skin.activity(surface)[0]

    def settle(self, state: Wetness, around: Surroundings) -> Wetness:
        """The same state with its surfaces consistent with the air: diffusion out equals evaporation."""
        below = potential(state.saturation[:, self.medium.network.station_cell], self.medium.exponent)
        density = np.exp(saturation_log(state.temp_c, around)[0])
        surface = self.skin.settled(state.surface, below, density, around).surface
        return Wetness(state.saturation, surface, state.temp_c, state.evaporated, state.step_s)

    def evaporation(self, state: Wetness, around: Surroundings) -> Floats:
        """Water leaving each station [kg/s per unit], (L, s)."""
        density = np.exp(saturation_log(state.temp_c, around)[0])[:, None]
        excess = self.skin.activity(state.surface)[0] * density - around.air_vapour[:, None]
        return np.asarray((around.vapour @ excess[:, :, None])[:, :, 0])

    def advance(self, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
        """The state that many seconds later.

        Raises DryingError where no step is small enough, which a sound spot never comes to.
        """
        quick = kernel_choice.quick()
        if quick is not None:
            reached: Wetness = quick.advance(self, state, around, seconds)
            return reached
        return self.advance_by_numpy(state, around, seconds)

    def advance_by_numpy(self, state: Wetness, around: Surroundings, seconds: float) -> Wetness:
        """The same by the twin in NumPy, whichever kernel is in use."""
        if self.numpy_steps is None:
            from server.drying.numpy_step import NumpySteps  # noqa: PLC0415 - SciPy's algebra loads where it serves

            self.numpy_steps = NumpySteps(self)
        reached: Wetness = self.numpy_steps.advance(state, around, seconds)
        return reached
