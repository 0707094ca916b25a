"""A joint's water over a dip: nothing lost, nothing made, nothing moved far."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.drying.joint import JointMesh, joint_network
from server.drying.joint_carry import carry


def one_dip(angle: float, coats: list[float], fillet: float = 0.002) -> tuple[JointMesh, JointMesh]:
    return joint_network(angle, fillet, tuple(coats[:-1])), joint_network(angle, fillet, tuple(coats))


@settings(max_examples=40, deadline=None)
@given(
    angle=st.floats(15.0, 150.0),
    coats=st.lists(st.floats(0.0003, 0.002), min_size=2, max_size=8),
    fillet=st.floats(0.0005, 0.005),
    seed=st.integers(0, 2**32 - 1),
)
def test_every_coats_water_is_kept(angle: float, coats: list[float], fillet: float, seed: int) -> None:
    old, new = one_dip(angle, coats, fillet)
    saturation = np.random.default_rng(seed).random((3, old.network.cells))
    carried = carry(old, saturation, new, np.array([0.9, 0.8, 0.7]))
    for coat in range(len(coats) - 1):
        before, after = old.network.coat == coat, new.network.coat == coat
        had = saturation[:, before] @ old.network.volume[before] + carried.added_m3[:, coat]
        has = carried.saturation[:, after] @ new.network.volume[after]
        assert has == pytest.approx(had, rel=1e-12)
    assert carried.saturation.min() >= 0.0
    assert carried.saturation.max() <= 1.0 + 1e-3
    fresh = carried.saturation[:, new.network.coat == len(coats) - 1]
    assert np.array_equal(fresh, np.broadcast_to([[0.9], [0.8], [0.7]], fresh.shape))


@pytest.mark.parametrize("angle", [15.0, 30.0, 60.0, 90.0, 120.0, 150.0])
@pytest.mark.parametrize("count", [1, 2, 5, 9])
def test_evenly_wet_coats_stay_even(angle: float, count: int) -> None:
    old, new = one_dip(angle, [0.001] * (count + 1))
    levels = np.linspace(0.1, 0.9, count)
    carried = carry(old, levels[old.network.coat][None, :], new, 1.0)
    older = new.network.coat < count
    assert carried.saturation[0, older] == pytest.approx(levels[new.network.coat[older]], rel=1e-4)


@pytest.mark.parametrize(
    ("coats", "fillet"),
    [
        ([0.001953125] * 4 + [0.002], 0.00390625),  # the new fillet reaches beyond the old strip's end
        ([0.002, 0.002, 0.00198, 0.00198, 0.002, 0.002, 0.00198], 0.005),  # and here just about
        ([0.0003, 0.002, 0.0003], 0.005),  # slow to balance
    ],
)
def test_thick_coats_in_the_sharpest_corner_stay_even(coats: list[float], fillet: float) -> None:
    old, new = one_dip(15.0, coats, fillet)
    carried = carry(old, np.ones((1, old.network.cells)), new, 1.0)
    assert np.abs(carried.saturation - 1.0).max() < 2e-4


def test_what_comes_in_is_the_flat_that_the_strip_grew_by() -> None:
    # Source: elementary geometry, the tangent point moves out by c/tan(θ/2).
    old, new = one_dip(60.0, [0.001, 0.0005])
    saturation = np.full((1, old.network.cells), 0.25)
    carried = carry(old, saturation, new, 1.0)
    assert carried.added_m3[0, 0] == pytest.approx(0.25 * 0.001 * 0.0005 / np.tan(np.radians(30.0)))


def test_water_stays_where_it_was() -> None:
    # A cell's water is even within it, so that it can seem to move by half a cell's width at most.
    old, new = one_dip(60.0, [0.001, 0.001, 0.001])
    centre = [carry_place(mesh) for mesh in (old, new)]
    far = 0.03
    carried = carry(old, (centre[0] / far)[None, :], new, 0.0).saturation[0]
    older = new.network.coat < 2
    off = np.abs(carried - centre[1] / far)[older] * far
    widths = np.diff(new.grid.flats)
    assert off.max() < 0.5 * widths.max()
    under_fillet = centre[1][older] < new.section.tangent_x_m
    assert off[under_fillet].max() < 0.5 * widths.min()


def carry_place(mesh: JointMesh) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Distance of each cell's centroid from the apex along the wall [m]."""
    place = np.empty(mesh.network.cells)
    for (station, _, _), cell in np.ndenumerate(mesh.cell_of):
        if cell >= 0:
            ray = mesh.section.tangent_x_m - mesh.radius[cell] * np.cos(mesh.along[cell])
            place[cell] = ray if station < mesh.grid.fillet_stations else mesh.along[cell]
    return place


def test_joints_that_are_not_a_dip_apart_are_refused() -> None:
    old, new = one_dip(60.0, [0.001, 0.001])
    other = joint_network(60.0, 0.002, (0.002,))
    with pytest.raises(ValueError, match="2 coats is not the joint of 1 coats and one more"):
        carry(other, np.zeros((1, other.network.cells)), new, 1.0)
    with pytest.raises(ValueError, match="does not fit"):
        carry(old, np.zeros((1, 3)), new, 1.0)
