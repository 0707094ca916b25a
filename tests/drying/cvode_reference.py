"""The solver's equations handed to another solver: CVODE of SUNDIALS, through scikit-sundae, at 1e-8.

Only the figures of a `Medium` and the air are shared with the solver; the equations are written anew. All
lanes are one banded system: a lane's unknowns are its temperature, then its cells as they are numbered, so
that what the surface cells and the temperature have to do with each other lies beside the diagonal. Surfaces
are no unknowns: they are settled to rounding within each call.
"""

import os
import platform
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from server.drying.medium import Medium, Surroundings, Wetness

try:
    from sksundae.cvode import CVODE
except ImportError:  # no wheel for this machine
    CVODE = None

Floats = NDArray[np.float64]

TOLERANCE = 1e-8
_TURNS = 80


def needs_cvode() -> None:
    """Leave the test out where there is no CVODE; where it could be and every test is asked for, fail."""
    if CVODE is not None:
        return
    if os.environ.get("SLOWCORNER_TEST_ALL") == "1" and platform.machine() in ("x86_64", "AMD64"):
        pytest.fail("scikit-sundae is not installed, and SLOWCORNER_TEST_ALL=1 asks for every test")
    pytest.skip("left out: scikit-sundae is not installed here")


class CvodeReference:
    """One medium in given air.

    around: the air at a spot that is that wet; it may return the same whatever it is given.
    """

    def __init__(
        self, medium: Medium, around: Callable[[Wetness], Surroundings], tolerance: float = TOLERANCE
    ) -> None:
        self.medium, self.around, self.tolerance = medium, around, tolerance
        network = medium.network
        self.lanes, self.cells = medium.capacity.shape
        self.stations = network.station_cell
        self.b = np.maximum(medium.exponent, 1e-9)[:, None]
        links = np.arange(network.link_outer.size)
        self.scatter = np.zeros((links.size, self.cells))
        self.scatter[links, network.link_outer] = -1.0
        self.scatter[links, network.link_inner] = 1.0
        farthest = int(np.abs(network.link_outer - network.link_inner).max(initial=0))
        self.band = max(farthest, int(self.stations.max()) + 1)
        self.surface = np.zeros((self.lanes, self.stations.size))

    def rates(self, _: float, packed: Floats, out: Floats) -> None:
        """What each unknown changes by [1/s, K/s]."""
        medium, network = self.medium, self.medium.network
        values = packed.reshape(self.lanes, self.cells + 1)
        temp, saturation = values[:, 0], values[:, 1:]
        phi = np.expm1(self.b * saturation) / self.b
        none = np.zeros(self.lanes)
        air = self.around(Wetness(saturation, self.surface, temp, none, 1.0))
        leaving = self._leaving(phi[:, self.stations], temp, air)
        fall = phi[:, network.link_outer] - phi[:, network.link_inner]
        into = (np.where(fall > 0.0, medium.link_inward, medium.link) * fall) @ self.scatter
        into[:, self.stations] -= leaving
        gain = (air.convection + air.radiation) * (air.air_temp_c - temp)
        rates = out.reshape(values.shape)
        rates[:, 0] = (gain - air.latent_heat * leaving.sum(axis=1)) / medium.heat
        rates[:, 1:] = into / medium.capacity

    def _leaving(self, below: Floats, temp: Floats, air: Surroundings) -> Floats:
        """Evaporation of each station [kg/s]: the surfaces at which it is what diffuses up to them."""
        medium = self.medium
        beyond = temp - air.ground_temp_c
        level, slope, half_curve = air.saturation_log
        density = np.exp(level + beyond * (slope + half_curve * beyond))[:, None]
        ambient = np.broadcast_to(np.asarray(air.air_vapour), (self.lanes,))[:, None]
        surface = np.maximum(self.surface, 0.0)
        for _ in range(_TURNS):
            wet = np.log1p(self.b * surface) / self.b
            dryness = np.maximum(1.0 - wet / medium.sorption_limit, 0.0)
            activity = 1.0 - dryness**medium.sorption_power
            rise = medium.sorption_power / medium.sorption_limit * dryness ** (medium.sorption_power - 1.0)
            leaving = np.einsum("lij,lj->li", air.vapour, activity * density - ambient)
            matrix = air.vapour * (rise / (1.0 + self.b * surface) * density)[:, None, :]
            matrix[:, np.arange(self.stations.size), np.arange(self.stations.size)] += medium.surface
            excess = medium.surface * (below - surface) - leaving
            move = np.linalg.solve(matrix, excess[:, :, None])[:, :, 0]
            # Nothing evaporates from φ = 0, so that no surface is drier.
            after = np.maximum(surface + move, 0.0)
            settled = bool((np.abs(after - surface) <= 1e-14 * (1e-3 + after)).all())
            surface = after
            if settled:
                break
        self.surface = surface
        return np.asarray(medium.surface * (below - surface))

    def _solver(self, **options: Any) -> Any:
        assert CVODE is not None
        return CVODE(
            self.rates,
            method="BDF",
            rtol=self.tolerance,
            atol=self.tolerance,
            linsolver="band",
            lband=self.band,
            uband=self.band,
            max_num_steps=500_000,
            **options,
        )

    def _packed(self, state: Wetness) -> Floats:
        self.surface = state.surface.copy()
        return np.concatenate([state.temp_c[:, None], state.saturation], axis=1).ravel()

    def after(self, state: Wetness, seconds: float) -> tuple[Floats, Floats]:
        """Saturations (L, n) and temperatures (L,) that many seconds later."""
        found = self._solver().solve(np.array([0.0, seconds]), self._packed(state))
        assert found.success, found.message
        values = found.y[-1].reshape(self.lanes, self.cells + 1)
        return values[:, 1:], values[:, 0]

    def seconds_until(self, state: Wetness, left: Callable[[Floats], float], limit: float) -> float:
        """Seconds until what is left, a function of the saturations (L, n), is down to the limit."""

        def event(_: float, packed: Floats, out: Floats) -> None:
            out[0] = left(packed.reshape(self.lanes, -1)[:, 1:]) - limit

        event.terminal = [True]  # type: ignore[attr-defined]
        event.direction = [-1]  # type: ignore[attr-defined]
        solver = self._solver(eventsfn=event, num_events=1)
        found = solver.solve(np.array([0.0, 5e6]), self._packed(state))
        assert found.t_events is not None, f"still {limit:g} and more left after {found.t[-1]:g} s"
        return float(found.t_events[0])
