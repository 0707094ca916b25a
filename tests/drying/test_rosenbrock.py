"""The time method's figures against the conditions that make it one of order three, and L-stable.

The conditions are those of Rosenbrock methods in Hairer and Wanner, Solving Ordinary Differential Equations
II (1996), section IV.7 (from memory), for the figures in their usual transformed form: Γ⁻¹ = 1/γ − C, and α
and b are what was multiplied by it.
"""

import numpy as np
import pytest
from numpy.typing import NDArray

from server.drying import rosenbrock as method

Floats = NDArray[np.float64]

ONES = np.ones(3)


def figures() -> tuple[Floats, Floats, Floats, Floats]:
    """α, α + Γ, and the weights of the step and of the one it is compared with."""
    c = np.array([[0.0, 0.0, 0.0], [method.C21, 0.0, 0.0], [method.C31, method.C32, 0.0]])
    gamma = np.linalg.inv(np.eye(3) / method.GAMMA - c)
    alpha = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]) @ gamma
    whole = np.array([method.M1, method.M2, method.M3])
    error = np.array([method.E1, method.E2, method.E3])
    return alpha, alpha + gamma, whole @ gamma, (whole - error) @ gamma


def test_step_is_of_order_three() -> None:
    alpha, beta, weights, _ = figures()
    assert weights @ ONES == pytest.approx(1.0, abs=1e-14)
    assert weights @ beta @ ONES == pytest.approx(1.0 / 2.0, abs=1e-14)
    assert weights @ (alpha @ ONES) ** 2 == pytest.approx(1.0 / 3.0, abs=1e-14)
    assert weights @ beta @ beta @ ONES == pytest.approx(1.0 / 6.0, abs=1e-14)


def test_step_it_is_compared_with_is_of_order_two_and_no_more() -> None:
    alpha, beta, _, weights = figures()
    assert weights @ ONES == pytest.approx(1.0, abs=1e-14)
    assert weights @ beta @ ONES == pytest.approx(1.0 / 2.0, abs=1e-14)
    assert abs(weights @ (alpha @ ONES) ** 2 - 1.0 / 3.0) > 0.1


def growth(z: complex) -> complex:
    """What a step makes of y where y' = z y/h."""
    _, beta, weights, _ = figures()
    return complex(1.0 + z * weights @ np.linalg.solve(np.eye(3) - z * beta, ONES))


def test_step_is_l_stable() -> None:
    assert abs(growth(-1e9)) < 1e-8
    # No more than 1 on the imaginary axis, and no pole left of it: no more than 1 in all that half.
    assert max(abs(growth(1j * y)) for y in np.geomspace(1e-3, 1e6, 400)) <= 1.0 + 1e-12
    assert method.GAMMA > 0.0


def test_gamma_is_the_root_it_says() -> None:
    g = method.GAMMA
    assert g**3 - 3.0 * g**2 + 1.5 * g - 1.0 / 6.0 == pytest.approx(0.0, abs=1e-15)
