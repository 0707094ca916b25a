"""The tabulated vapour coupling against the formula it is made from."""

import numpy as np
import pytest

from server.drying.joint import joint_network
from server.drying.joint_table import CouplingTable, coupling_table
from server.drying.joint_vapour import MAX_LAYER_M, MIN_LAYER_M, vapour_coupling


@pytest.mark.parametrize(("angle", "fillet_m"), [(15, 2e-3), (30, 2e-3), (30, 1e-4), (90, 2e-3), (150, 2e-2)])
def test_within_a_millionth_of_the_formula(angle: float, fillet_m: float) -> None:
    """Of the station's largest figure; below 30°, where a corner lets next to nothing out, of the joint's."""
    layer = np.exp(np.random.default_rng(3).uniform(np.log(MIN_LAYER_M), np.log(MAX_LAYER_M), 150))
    layer = np.concatenate([[MIN_LAYER_M, MAX_LAYER_M], layer])
    found = coupling_table(angle, fillet_m).at(layer)
    # Other coats than the table was made with: they do not matter.
    mesh = joint_network(angle, fillet_m, (0.7e-3, 1e-3, 0.4e-3))
    expected = np.concatenate([vapour_coupling(mesh, part) for part in np.array_split(layer, 8)])
    largest = np.abs(expected).max(axis=2 if angle >= 30 else (1, 2), keepdims=True)
    worst = (np.abs(found - expected) / largest).max()
    print(f"{angle}°, {fillet_m * 1e3:g} mm: {worst:.1e}")
    assert worst < 1e-6
    assert (found == np.swapaxes(found, 1, 2)).all()


def test_a_lane_is_the_same_alone_and_among_others() -> None:
    table: CouplingTable = coupling_table(60.0, 2e-3)
    layer = np.array([1e-3, 2.5e-3, 8e-3, 3e-4])
    together = table.at(layer)
    for lane in range(4):
        assert table.at(layer[lane : lane + 1]).tobytes() == together[lane : lane + 1].tobytes()
