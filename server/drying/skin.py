"""The surface of a shell: where what diffuses out of the cells is what evaporates."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.drying.medium import LINEAR_EXPONENT, Medium, Surroundings

Floats = NDArray[np.float64]

TURNS = 60
NEAR = 1e-2
"""A turn that moves every surface by no more than this share of it is the last. The turns square what is
left (common knowledge of Newton's method), and that is in the balance of the step, which takes a turn more:
1e-2 gives the steps and the errors of 1e-4, for a turn or so less.
"""


@dataclass(frozen=True, eq=False)
class Skin:
    """Settled surfaces: φ, water activity, ∂E/∂φ (L, s, s), E, and what diffusion brings beyond E."""

    surface: Floats
    activity: Floats
    wet: Floats
    out: Floats
    excess: Floats


class SkinSolver:
    """Finds the surfaces of one medium."""

    def __init__(self, medium: Medium) -> None:
        self.medium = medium
        self.exponent = np.maximum(medium.exponent, LINEAR_EXPONENT)[:, None]

    def activity(self, surface: Floats) -> tuple[Floats, Floats]:
        """Water activity of surfaces and its slope in φ; below φ = 0 (trial values only) a straight line."""
        medium = self.medium
        scaled = self.exponent * np.maximum(surface, 0.0)
        saturation = np.log1p(scaled) / self.exponent + np.minimum(surface, 0.0)
        dryness = np.maximum(1.0 - saturation / medium.sorption_limit, 0.0)
        below = np.minimum(dryness, 1.0)
        power = below ** (medium.sorption_power - 1.0)
        activity = 1.0 - power * below + (below - dryness) * medium.sorption_power
        slope = (dryness > 0.0) * power * (medium.sorption_power / medium.sorption_limit) / (1.0 + scaled)
        return activity, slope

    def settled(self, surface: Floats, below: Floats, density: Floats, around: Surroundings) -> Skin:
        """The surfaces at which diffusion out of the cells equals evaporation, from a first guess.

        Newton's method. For a lone station the excess falls with φ and bends upwards, so that it converges
        from any start, at the latest after it was on the dry side; joined stations hold each other by little.
        What it leaves over stays in the balance of the step.
        """
        medium, vapour = self.medium, around.vapour
        density = density[:, None]
        for turns_left in reversed(range(TURNS)):
            activity, slope = self.activity(surface)
            out = (vapour @ (activity * density - around.air_vapour[:, None])[:, :, None])[:, :, 0]
            excess = medium.surface * (below - surface) - out
            wet = vapour * (slope * density)[:, None, :]
            if surface.shape[1] == 1:
                step: Floats = excess / (wet[:, :, 0] + medium.surface)
            else:
                matrix = wet.copy()
                matrix.reshape(len(surface), -1)[:, :: surface.shape[1] + 1] += medium.surface
                step = np.asarray(np.linalg.solve(matrix, excess[:, :, None])[:, :, 0], dtype=np.float64)
            # At φ = 0 nothing evaporates: the answer is never below it.
            moved = np.maximum(surface + step, 0.0)
            change = np.abs(moved - surface)
            # What is handed on was all reckoned at the same surface, so that the balance closes.
            if turns_left == 0 or (change <= NEAR * (0.01 + moved)).all():
                break
            surface = moved
        return Skin(surface, activity, wet, out, excess)
