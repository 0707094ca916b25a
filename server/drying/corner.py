"""The stagnant air in a corner, and the fillet that slurry leaves there.

A layer of still air of thickness δ lies on both walls of a corner and folds into it. A point on a wall, a
distance s from the apex, then dries more slowly than on a flat wall, by the factor F(s/δ). The map of the
folded layer onto a straight strip is exact (Schwarz-Christoffel):

    s/δ = (1/π) ∫₀^v x^(p-1) / (1-x) dx,   p = θ/2π,   v = tanh²(πξ/2),   F = dξ/d(s/δ) = v^(1/2 - p)

ξ is where the point lies along the straight strip: the wall's length as the layer sees it, over δ.
Tables to check against were computed from these formulas and by finite elements (within 1 %).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

STRAIGHT_DEG = 180.0

# Beyond this ξ the map differs from the identity (plus a constant) by less than rounding.
_FAR = 12.0
# Below this ξ the map is a pure power law to rounding.
_NEAR = 1e-8
_KNOTS = 600
_SERIES_TERMS = 60

# The closed form for a fillet's mean factor holds for fillets narrower than the layer, the ring's beyond it.
NARROW_FILLET = 0.9
WIDE_FILLET = 1.25


def wall_coordinate(distance: ArrayLike, angle_deg: float) -> Floats:
    """Where a point of the wall lies along the straightened layer: ξ [-].

    distance: distance from the apex along the wall, over the layer's thickness [-], 0 or more, any shape.
    angle_deg: included angle of the corner [°], over 0 up to 180.

    A flat wall is its own map, and far from any corner so is every wall, but for a constant:

    >>> float(wall_coordinate(2.5, 180.0))
    2.5
    >>> round(float(wall_coordinate(9.0, 60.0) - wall_coordinate(8.0, 60.0)), 6)
    1.0
    """
    _check_angle(angle_deg)
    s = np.asarray(distance, dtype=np.float64)
    if angle_deg == STRAIGHT_DEG:
        return s.copy()
    table = _map_table(angle_deg)
    first, last = table.ends
    with np.errstate(divide="ignore"):
        log_s = np.log(s)
    inside = np.exp(table.at(np.clip(log_s, first[0], last[0])))
    power = math.pi / math.radians(angle_deg)
    near = np.exp(first[1] + power * (np.minimum(log_s, first[0]) - first[0]))
    far = math.exp(last[1]) + s - math.exp(last[0])
    return np.where(log_s < first[0], near, np.where(log_s > last[0], far, inside))


def corner_factor(distance: ArrayLike, angle_deg: float) -> Floats:
    """Drying of a point of the wall over that of a flat wall, all the walls wet: F [-].

    distance: distance from the apex along the wall, over the layer's thickness [-], 0 or more, any shape.
    angle_deg: included angle of the corner [°], over 0 up to 180.

    >>> round(float(corner_factor(1.0, 60.0)), 4)
    0.2726
    """
    xi = wall_coordinate(distance, angle_deg)
    return np.asarray(np.tanh(0.5 * math.pi * xi) ** (1.0 - angle_deg / STRAIGHT_DEG), dtype=np.float64)


def fillet_depth_m(angle_deg: float, fillet_m: float) -> float:
    """How much deeper the slurry lies in the middle of the fillet than in a sharp corner [m].

    >>> round(fillet_depth_m(60.0, 0.002), 9)
    0.002
    """
    return fillet_m * (1.0 / math.sin(_half(angle_deg)) - 1.0)


def fillet_tangent_m(angle_deg: float, fillet_m: float) -> float:
    """From the sharp corner along a wall to where the fillet meets it [m]."""
    return fillet_m / math.tan(_half(angle_deg))


def fillet_arc_m(angle_deg: float, fillet_m: float) -> float:
    """Length of the fillet's face from wall to wall [m]."""
    return 2.0 * fillet_m * (0.5 * math.pi - _half(angle_deg))


def fillet_area_m2(angle_deg: float, fillet_m: float) -> float:
    """Area of the fillet's section, between its arc and the sharp corner [m²]."""
    half = _half(angle_deg)
    return fillet_m**2 * (1.0 / math.tan(half) - (0.5 * math.pi - half))


def fillet_mean_factor(angle_deg: float, fillet_m: float, layer_m: ArrayLike) -> Floats:
    """Mean drying over the fillet's face over that of a flat wall, all wet: F_J [-].

    angle_deg: included angle [°], over 0 up to 180. Finite elements agree within 6 % up to 150°.
    fillet_m: radius of the fillet [m].
    layer_m: thickness of the still air [m], any shape.

    Three ranges of the radius over the layer: below 0.9 the fillet is a little surface deep in
    the corner; above 1.25 the layer bends round the fillet like a ring; between
    them the logarithm is interpolated.

    >>> round(float(fillet_mean_factor(90.0, 0.002, 0.0025)), 3)
    0.423
    """
    _check_angle(angle_deg)
    ratio = fillet_m / np.asarray(layer_m, dtype=np.float64)
    low, high = math.log(NARROW_FILLET), math.log(WIDE_FILLET)
    share = np.clip((np.log(ratio) - low) / (high - low), 0.0, 1.0)
    narrow = np.log(_narrow_factor(angle_deg, np.minimum(ratio, NARROW_FILLET)))
    wide = -np.log(-np.maximum(ratio, WIDE_FILLET) * np.log1p(-1.0 / np.maximum(ratio, WIDE_FILLET)))
    return np.asarray(np.exp((1.0 - share) * narrow + share * wide), dtype=np.float64)


def _narrow_factor(angle_deg: float, ratio: Floats) -> Floats:
    """F_J of a fillet narrower than the layer [-]; never more than a flat wall's."""
    sine = math.sin(_half(angle_deg))
    rho = ratio * (1.0 - sine)
    power = STRAIGHT_DEG / angle_deg
    factor = (4.0 * sine / math.radians(angle_deg)) * rho ** (power - 1.0) / (1.0 - rho ** (2.0 * power))
    return np.minimum(factor, 1.0)


def _half(angle_deg: float) -> float:
    _check_angle(angle_deg)
    return 0.5 * math.radians(angle_deg)


def _check_angle(angle_deg: float) -> None:
    if not 0.0 < angle_deg <= STRAIGHT_DEG:
        raise ValueError(f"corner of {angle_deg:g}° is not between 0° and 180°")


@dataclass(frozen=True, eq=False)
class _Table:
    """A smooth function by its values and slopes at knots: Hermite's cubic between them.

    The same as SciPy's CubicHermiteSpline, whose package takes a quarter of a second to load.
    """

    x: Floats
    y: Floats
    slope: Floats

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """The first and the last point."""
        return (float(self.x[0]), float(self.y[0])), (float(self.x[-1]), float(self.y[-1]))

    def at(self, x: Floats) -> Floats:
        """The value at points between the ends."""
        left = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, self.x.size - 2)
        width = self.x[left + 1] - self.x[left]
        t = (x - self.x[left]) / width
        rise = self.y[left + 1] - self.y[left]
        start, end = self.slope[left] * width - rise, rise - self.slope[left + 1] * width
        return np.asarray(self.y[left] + t * rise + t * (1.0 - t) * (start * (1.0 - t) + end * t))


@lru_cache(maxsize=256)
def _map_table(angle_deg: float) -> _Table:
    """ln ξ as a smooth function of ln(s/δ)."""
    log_xi = np.linspace(math.log(_NEAR), math.log(_FAR), _KNOTS)
    xi = np.exp(log_xi)
    s = _distance(xi, angle_deg / (2.0 * STRAIGHT_DEG))
    log_s = np.log(s)
    factor = np.tanh(0.5 * math.pi * xi) ** (1.0 - angle_deg / STRAIGHT_DEG)
    return _Table(log_s, log_xi, factor * s / xi)


def _distance(xi: Floats, power: float) -> Floats:
    """s/δ of ξ: the incomplete beta function B(v; power, 0)/π by its two series, about v = 0 and v = 1."""
    v = np.tanh(0.5 * math.pi * xi) ** 2
    u = 1.0 / np.cosh(0.5 * math.pi * xi) ** 2  # 1 - v, without the cancellation
    order = np.arange(_SERIES_TERMS)
    near_v = np.minimum(v, 0.5)[:, None]
    about_zero = (near_v ** (order + power) / (order + power)).sum(axis=1)
    # ∫₀^v (x^(p-1) - 1)/(1-x) dx = -(ψ(p) + γ) - Σ_{k≥1} (1-p)_k/k! u^k/k
    k = order[1:]
    pochhammer = np.cumprod((k - power) / k)
    near_u = np.minimum(u, 0.5)[:, None]
    tail = (pochhammer * near_u**k / k).sum(axis=1)
    about_one = -np.log(u) - (_digamma(power) + np.euler_gamma) - tail
    return np.asarray(np.where(v < 0.5, about_zero, about_one) / math.pi, dtype=np.float64)


def _digamma(power: float) -> float:
    """ψ of a positive number, to rounding: ψ(p) = ψ(p + 1) − 1/p up to where its series for large p holds.

    Abramowitz and Stegun (1964), 6.3.5 and 6.3.18. Of our own for its size: scipy.special takes 15 MB.
    """
    below = 0.0
    while power < 16.0:
        below, power = below + 1.0 / power, power + 1.0
    square = 1.0 / power**2
    series = square * (1 / 12 - square * (1 / 120 - square * (1 / 252 - square * (1 / 240 - square / 132))))
    return math.log(power) - 0.5 / power - series - below
