"""The joint's strip of cells: its shapes against closed forms, its cells and links against what must hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from server.drying import corner
from server.drying.joint import FLAT_M, JointMesh, joint_network
from server.drying.joint_section import JointSection

COATS = [(0.001,), (0.0005, 0.0005), (0.0003, 0.0012, 0.0005), (0.001,) * 4, (0.001,) * 10]
ANGLES = [15.0, 30.0, 60.0, 90.0, 120.0, 150.0]


def area_below(section: JointSection, height_m: float, wall_m: float) -> float:
    """Area under one coat's surface, half the joint: by integration over x with y(x) of line and arc."""
    half = section.half_rad
    centre = (height_m + section.fillet_m) / math.tan(half), height_m + section.fillet_m
    start = centre[0] - section.fillet_m * math.cos(half)  # where the arc meets the plane of symmetry
    x = np.linspace(0.0, start, 20_001)
    under_plane = np.trapezoid(np.tan(half) * x, x)
    x = start + (centre[0] - start) * (1.0 - np.cos(np.linspace(0.0, 0.5 * math.pi, 20_001)))
    arc = centre[1] - np.sqrt(np.maximum(section.fillet_m**2 - (centre[0] - x) ** 2, 0.0))
    return float(under_plane + np.trapezoid(arc, x) + height_m * (wall_m - centre[0]))


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("coats", COATS)
def test_each_coat_has_its_area(angle: float, coats: tuple[float, ...]) -> None:
    # Source: computed, the area between two surfaces by integration over x.
    mesh = joint_network(angle, 0.002, coats)
    wall = mesh.network.wall_area
    assert wall == pytest.approx((sum(coats) + 0.002) / math.tan(math.radians(angle / 2)) + FLAT_M)
    areas = np.diff([area_below(mesh.section, h, wall) for h in mesh.section.heights_m[1:]], prepend=0.0)
    got = np.bincount(mesh.network.coat, weights=mesh.network.volume)
    assert got == pytest.approx(areas, rel=2e-6)


@pytest.mark.parametrize("angle", ANGLES)
def test_fine_rays_alone_come_close(angle: float) -> None:
    # The volumes are scaled to be exact; here is how little there was to scale.
    section = JointSection(angle, 0.002, (0.001, 0.0005, 0.001))
    step = (0.5 * math.pi - section.half_rad) / 256
    radii = section.radii_m(np.asarray(section.half_rad + step * (np.arange(256) + 0.5), dtype=np.float64))
    rays = 0.5 * (radii[:-1] ** 2 - radii[1:] ** 2).sum(axis=1) * step
    assert rays == pytest.approx(section.coat_areas_m2(section.tangent_x_m), rel=2e-3)


@pytest.mark.parametrize("angle", ANGLES)
def test_a_later_coat_brings_only_its_film_to_the_middle(angle: float) -> None:
    # Source: elementary geometry, c/sin(θ/2) in the middle and c at the tangent point.
    section = JointSection(angle, 0.002, (0.001, 0.0007))
    radii = section.radii_m(np.array([section.half_rad, 0.5 * math.pi]))
    middle, tangent = (radii[1] - radii[2]).tolist()
    assert middle == pytest.approx(0.0007 / math.sin(math.radians(angle / 2)), rel=1e-12)
    assert tangent == pytest.approx(0.0007, rel=1e-12)
    assert radii[0, 0] - radii[2, 0] == pytest.approx(section.deepest_m)


@pytest.mark.parametrize("angle", ANGLES)
def test_first_coat_is_judged_on_the_slurry_beyond_the_flat_coat(angle: float) -> None:
    network = joint_network(angle, 0.002, (0.001,)).network
    judged = float((network.judged * network.volume).sum())
    assert judged == pytest.approx(0.5 * corner.fillet_area_m2(angle, 0.002), rel=2e-3)
    assert np.all((network.judged >= 0.0) & (network.judged <= 1.0))


def test_later_coats_are_judged_on_all_under_the_fillet() -> None:
    mesh = joint_network(60.0, 0.002, (0.001, 0.001))
    network = mesh.network
    judged = float((network.judged * network.volume).sum())
    flat = 0.002 * FLAT_M
    assert judged == pytest.approx(float(network.volume.sum()) - flat, rel=1e-12)
    assert set(network.judged) == {0.0, 1.0}


def test_surface_is_the_fillets_arc_and_the_flat() -> None:
    network = joint_network(60.0, 0.002, (0.001, 0.001)).network
    on_fillet = network.station_area[network.judged_stations].sum()
    assert on_fillet == pytest.approx(0.5 * corner.fillet_arc_m(60.0, 0.002))
    assert network.station_area[~network.judged_stations].sum() == pytest.approx(FLAT_M)


def check_sound(mesh: JointMesh) -> None:
    network = mesh.network
    assert np.all(network.volume > 0.0)
    assert np.all(network.link_area > 0.0)
    assert min(network.link_gap_outer.min(), network.link_gap_inner.min(), network.station_gap.min()) > 0.0
    joined = coo_array(
        (np.ones(network.link_outer.size), (network.link_outer, network.link_inner)),
        shape=(network.cells, network.cells),
    )
    assert connected_components(joined, directed=False)[0] == 1
    pairs = {
        frozenset(pair) for pair in zip(network.link_outer.tolist(), network.link_inner.tolist(), strict=True)
    }
    assert len(pairs) == network.link_outer.size
    assert np.array_equal(network.station_cell, np.arange(network.stations))
    assert np.all(network.coat[network.station_cell] == mesh.section.coats - 1)
    # Sideways links stay in a coat; inward ones go to an older coat or stay.
    step = network.coat[network.link_outer] - network.coat[network.link_inner]
    assert np.all(step[~network.link_inward] == 0)
    assert np.all((step[network.link_inward] == 0) | (step[network.link_inward] == 1))
    assert np.array_equal(np.unique(mesh.cell_of[mesh.cell_of >= 0]), np.arange(network.cells))


@pytest.mark.parametrize("angle", ANGLES)
@pytest.mark.parametrize("coats", COATS)
def test_network_is_sound(angle: float, coats: tuple[float, ...]) -> None:
    check_sound(joint_network(angle, 0.002, coats))


@settings(max_examples=60, deadline=None)
@given(
    angle=st.floats(15.0, 150.0),
    fillet=st.floats(0.0002, 0.01),
    coats=st.lists(st.floats(0.0002, 0.003), min_size=1, max_size=12),
)
def test_any_joint_is_sound(angle: float, fillet: float, coats: list[float]) -> None:
    mesh = joint_network(angle, fillet, tuple(coats))
    check_sound(mesh)
    got = np.bincount(mesh.network.coat, weights=mesh.network.volume)
    assert got == pytest.approx(mesh.section.coat_areas_m2(mesh.network.wall_area), rel=1e-12)


def test_ten_coats_stay_small(capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        print("\ncells and half-bandwidth of a joint, fillet 2 mm, coats of 1 mm:")
        for angle in (30.0, 60.0, 90.0):
            meshes = [joint_network(angle, 0.002, (0.001,) * coats) for coats in (1, 2, 4, 10)]
            sizes = ", ".join(f"{m.section.coats}: {m.network.cells}/{m.half_bandwidth}" for m in meshes)
            print(f"  {angle:g}°  {sizes}")
            assert meshes[0].network.cells <= 50
            assert meshes[-1].network.cells <= 200
            assert meshes[-1].half_bandwidth <= 20


def test_the_same_joint_is_the_same_mesh() -> None:
    assert joint_network(30, 0.002, (0.001,)) is joint_network(30.0, 0.002, (0.001,))


@pytest.mark.parametrize(
    ("angle", "fillet", "coats", "says"),
    [
        (10.0, 0.002, (0.001,), "joint of 10°"),
        (151.0, 0.002, (0.001,), "joint of 151°"),
        (float("nan"), 0.002, (0.001,), "joint of nan°"),
        (30.0, 0.0, (0.001,), "fillet of 0 mm"),
        (30.0, 0.002, (), "0 coats"),
        (30.0, 0.002, (0.001, -0.001), "coat 2 of -1 mm"),
        (30.0, 0.002, (0.03,), "coat 1 of 30 mm"),
    ],
)
def test_impossible_joint_is_refused(
    angle: float, fillet: float, coats: tuple[float, ...], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        joint_network(angle, fillet, coats)


def test_too_few_stations_are_refused() -> None:
    with pytest.raises(ValueError, match="3 stations are not between 4 and 64"):
        joint_network(30.0, 0.002, (0.001,), stations=3)
