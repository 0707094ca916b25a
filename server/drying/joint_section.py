"""The section of a coated joint: where each coat begins and ends.

Half of a symmetric joint: the wax wall lies along x, its apex at the origin, the plane of symmetry at half
the included angle θ. Slurry bridges the corner with the same fillet radius r_f after every coat: with h the
total thickness, the surface is the line y = h and, near the corner, an arc of radius r_f that touches it. A
later coat therefore brings only its own film there: c on the flat, c/sin(θ/2) in the middle.

Rays leave the centre of the newest fillet at an angle φ under the horizontal: from φ = θ/2 (straight at the
apex) to φ = π/2 (straight at the wall, through the point where the newest fillet meets the flat).
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.drying import corner

Floats = NDArray[np.float64]

MIN_ANGLE_DEG = 15.0
MAX_ANGLE_DEG = 150.0
MIN_LENGTH_M = 5e-5
MAX_LENGTH_M = 0.02
MAX_COATS = 30


@dataclass(frozen=True)
class JointSection:
    """A joint with its coats.

    angle_deg: included angle [°], 15 to 150: below it the slurry closes the gap, above it is a face.
    fillet_m: radius of the fillet [m], 0.05 to 20 mm.
    thickness_m: thickness of each coat on the flat, from the wax out [m], 0.05 to 20 mm each.

    Raises ValueError naming what is out of its range.
    """

    angle_deg: float
    fillet_m: float
    thickness_m: tuple[float, ...]

    def __post_init__(self) -> None:
        if not MIN_ANGLE_DEG <= self.angle_deg <= MAX_ANGLE_DEG:
            raise ValueError(
                f"joint of {self.angle_deg:g}° is not between {MIN_ANGLE_DEG:g}° and {MAX_ANGLE_DEG:g}°"
            )
        if not 1 <= len(self.thickness_m) <= MAX_COATS:
            raise ValueError(f"a joint of {len(self.thickness_m)} coats does not have 1 to {MAX_COATS}")
        lengths = {f"coat {n}": c for n, c in enumerate(self.thickness_m, 1)} | {"fillet": self.fillet_m}
        for name, length in lengths.items():
            if not MIN_LENGTH_M <= length <= MAX_LENGTH_M:
                raise ValueError(
                    f"{name} of {length * 1e3:g} mm is not between {MIN_LENGTH_M * 1e3:g} "
                    f"and {MAX_LENGTH_M * 1e3:g} mm"
                )

    @property
    def coats(self) -> int:
        """How many coats there are."""
        return len(self.thickness_m)

    @property
    def half_rad(self) -> float:
        """Half the included angle [rad]: the plane of symmetry's, and the first ray's."""
        return 0.5 * math.radians(self.angle_deg)

    @cached_property
    def heights_m(self) -> Floats:
        """(coats + 1,) height of the wax (0) and of each coat's surface over the wall [m]."""
        return np.concatenate(([0.0], np.cumsum(self.thickness_m)))

    @property
    def centre_y_m(self) -> float:
        """Height of the newest fillet's centre over the wall [m]."""
        return float(self.heights_m[-1]) + self.fillet_m

    @property
    def tangent_x_m(self) -> float:
        """Where the newest fillet meets the flat, from the wax's apex along the wall [m]."""
        return self.centre_y_m / math.tan(self.half_rad)

    @property
    def deepest_m(self) -> float:
        """From the middle of the newest fillet's face straight to the wax's apex [m]."""
        return self.centre_y_m / math.sin(self.half_rad) - self.fillet_m

    def radii_m(self, phi: Floats) -> Floats:
        """How far along each ray the coats' interfaces lie.

        phi: (rays,) angle of each ray under the horizontal [rad], θ/2 to π/2.
        Returns (coats + 1, rays) distance from the newest fillet's centre to the wax (row 0) and to the
        surface of each coat [m]; the last row is r_f.
        """
        sine, cosine = np.sin(phi), np.cos(phi)
        below = self.centre_y_m - self.heights_m[:, None]
        line = below / sine
        # An older fillet's centre lies this much nearer to the apex, on the plane of symmetry.
        back = (self.heights_m[-1] - self.heights_m[:, None]) / math.sin(self.half_rad)
        turn = phi - self.half_rad
        arc = back * np.cos(turn) + np.sqrt(np.maximum(self.fillet_m**2 - (back * np.sin(turn)) ** 2, 0.0))
        tangent = (self.heights_m[:, None] + self.fillet_m) / math.tan(self.half_rad)
        radii = np.where(self.tangent_x_m - line * cosine >= tangent, line, arc)
        radii[0] = line[0]  # the wax's corner is sharp
        radii[-1] = self.fillet_m
        return radii

    def coat_areas_m2(self, wall_m: float) -> Floats:
        """(coats,) area of each coat's section over a length of the wall from the apex [m²].

        wall_m: length of wall [m]; it reaches past the newest tangent point.
        """
        heights = self.heights_m[1:]
        fillet = 0.5 * corner.fillet_area_m2(self.angle_deg, self.fillet_m)
        under = fillet + heights * wall_m - 0.5 * heights**2 / math.tan(self.half_rad)
        return np.diff(under, prepend=0.0)
