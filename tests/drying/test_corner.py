"""The bare corner and its fillet against their tables."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import digamma, hyp2f1

from server.drying import corner

# F at s/δ = 0.1, 0.5, 1, 2, 3. Source: computed by conformal map, checked by finite elements within 1 %.
FACTORS = {
    30.0: (1.2298e-08, 3.8432e-05, 0.0012298, 0.039348, 0.29273),
    60.0: (0.0027416, 0.068533, 0.27256, 0.84687, 0.99161),
    90.0: (0.078539, 0.39085, 0.7341, 0.9825, 0.99922),
    120.0: (0.32356, 0.71126, 0.91812, 0.99602, 0.99983),
    180.0: (1.0, 1.0, 1.0, 1.0, 1.0),
}

# Middle depth [mm] and area [mm²] of a 2 mm fillet. Source: computed, elementary geometry.
FILLETS = {30.0: (5.7274, 9.6922), 60.0: (2.0, 2.7394), 90.0: (0.8284, 0.8584)}


@pytest.mark.parametrize("angle", FACTORS)
def test_factor_follows_its_table(angle: float) -> None:
    got = corner.corner_factor([0.1, 0.5, 1.0, 2.0, 3.0], angle)
    assert got == pytest.approx(FACTORS[angle], rel=0.002)  # the table is asked for within 1 %


@pytest.mark.parametrize("angle", [15.0, 30.0, 72.5, 120.0, 150.0])
def test_map_is_the_incomplete_beta_function(angle: float) -> None:
    # Source: computed, B(v; p, 0) = v^p/p · ₂F₁(p, 1; p+1; v), another route to the same integral.
    xi = np.array([1e-7, 1e-4, 0.01, 0.2, 0.56, 0.9, 2.0, 4.0])
    p = angle / 360.0
    v = np.tanh(0.5 * np.pi * xi) ** 2
    distance = v**p / p * hyp2f1(p, 1.0, p + 1.0, v) / np.pi
    assert corner.wall_coordinate(distance, angle) == pytest.approx(xi, rel=1e-7)


@pytest.mark.parametrize("angle", [30.0, 90.0])
def test_coordinate_is_the_integral_of_the_factor(angle: float) -> None:
    # Source: the definition F = dξ/ds; the integral is taken numerically.
    length, _ = quad(lambda s: float(corner.corner_factor(s, angle)), 0.05, 20.0, limit=200)
    ends = corner.wall_coordinate([0.05, 20.0], angle)
    assert ends[1] - ends[0] == pytest.approx(length, rel=1e-7)


def test_apex_itself_is_the_origin() -> None:
    assert corner.wall_coordinate(0.0, 30.0) == 0.0
    assert corner.corner_factor(0.0, 30.0) == 0.0


@pytest.mark.parametrize("angle", FILLETS)
def test_fillet_geometry_follows_its_table(angle: float) -> None:
    depth_mm, area_mm2 = FILLETS[angle]
    assert corner.fillet_depth_m(angle, 0.002) * 1e3 == pytest.approx(depth_mm, abs=5e-5)
    assert corner.fillet_area_m2(angle, 0.002) * 1e6 == pytest.approx(area_mm2, abs=5e-5)


def test_fillet_in_a_right_angle_is_a_quarter_circle() -> None:
    # Source: elementary geometry.
    assert corner.fillet_arc_m(90.0, 0.002) == pytest.approx(0.001 * np.pi)
    assert corner.fillet_tangent_m(90.0, 0.002) == pytest.approx(0.002)
    assert corner.fillet_area_m2(90.0, 0.002) == pytest.approx((1 - np.pi / 4) * 4e-6)


def test_narrow_fillet_follows_the_closed_form() -> None:
    # Source: F_J = (4 sin(θ/2)/θ) ρ^(π/θ-1) / (1 - ρ^(2π/θ)); at 60°, r_f = δ/2: ρ = 0.25, worked by hand:
    # (2/1.0471976) · 0.0625 / (1 - 0.25^6) = 0.119395.
    assert corner.fillet_mean_factor(60.0, 0.001, 0.002) == pytest.approx(0.119395, rel=1e-5)


def test_wide_fillet_is_a_ring() -> None:
    # Source: computed, the layer as a ring between the radii r_f and r_f - δ: δ/(r_f ln(r_f/(r_f - δ))).
    assert corner.fillet_mean_factor(30.0, 0.004, 0.002) == pytest.approx(0.5 / np.log(2.0), rel=1e-12)


@given(angle=st.floats(10.0, 170.0), ratio=st.sampled_from([0.9, 1.25]))
def test_mean_factor_has_no_jump_between_its_ranges(angle: float, ratio: float) -> None:
    layers = 0.002 / ratio * np.array([1.0 - 1e-9, 1.0 + 1e-9])
    below, above = corner.fillet_mean_factor(angle, 0.002, layers)
    assert below == pytest.approx(above, rel=1e-6)


@given(angle=st.floats(10.0, 175.0), distance=st.floats(0.01, 30.0), step=st.floats(0.01, 1.0))
def test_factor_grows_away_from_the_apex_and_with_the_angle(
    angle: float, distance: float, step: float
) -> None:
    here, further = corner.corner_factor([distance, distance + step], angle)
    assert 0.0 <= here <= further <= 1.0
    assert here <= corner.corner_factor(distance, angle + 5.0) + 1e-12


@pytest.mark.parametrize("angle", [0.0, -10.0, 181.0, float("nan")])
def test_impossible_corner_is_refused(angle: float) -> None:
    with pytest.raises(ValueError, match="not between 0° and 180°"):
        corner.corner_factor(1.0, angle)


@given(power=st.floats(1e-3, 30.0))
def test_digamma_is_that_of_scipy(power: float) -> None:
    # Absolute as well, for it crosses nought.
    assert corner._digamma(power) == pytest.approx(float(digamma(power)), rel=1e-14, abs=1e-14)
