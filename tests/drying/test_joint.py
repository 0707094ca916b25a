"""A whole joint against solutions in two dimensions, and the laws it must keep."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.drying.joint import joint_network
from server.drying.joint_vapour import vapour_coupling
from server.drying.kernel import FIRST_STEP_S, Solver, Wetness, potential
from server.drying.materials import equilibrium_saturation
from tests.drying.corner_solution import CornerSolution, Fineness
from tests.drying.joint_reference import (
    AIR_C,
    AIR_LAYER_W_MK,
    COAT_M,
    FILLET_M,
    FLAT_HOURS,
    FULL_KG_M3,
    JOINT_HOURS,
    LAYERS_MM,
    RADIATION_W_M2K,
    RH_PCT,
    SLURRIES,
    VAPOUR_M2_S,
    flat_hours,
    joint_hours,
    medium,
    surroundings,
)

CASES = [(kind, angle, layer) for kind, angle in JOINT_HOURS for layer in LAYERS_MM]


def tabled(kind: str, angle: float, layer_mm: float) -> tuple[float, float]:
    return JOINT_HOURS[kind, angle][LAYERS_MM.index(layer_mm)]


def solved_hours(kind: str, angle: float, layer_mm: float, older_coats: int = 0) -> tuple[float, ...]:
    """Hours to 10 % and 5 % by finite elements, judged as the strip is."""
    coats = (COAT_M,) * (older_coats + 1)
    fineness = Fineness(shell=30) if older_coats else Fineness()
    solution = CornerSolution(angle, FILLET_M, coats, layer_mm * 1e-3, fineness=fineness)
    slurry, dry = SLURRIES[kind], equilibrium_saturation(RH_PCT)
    fresh = slurry.water / (FULL_KG_M3 * COAT_M)
    judged = solution.under_fillet(newest_only=False) if older_coats else solution.beyond_flat()
    newest = solution.under_fillet(newest_only=True) if older_coats else judged
    start = solution.start((*(dry,) * older_coats, fresh))
    return solution.hours_to(slurry, start, judged, float(newest.sum()) * (fresh - dry), (0.10, 0.05))


def percent(got: tuple[float, ...], wanted: tuple[float, ...]) -> str:
    return " / ".join(f"{100 * (a / b - 1):+.1f} %" for a, b in zip(got, wanted, strict=True))


@pytest.mark.parametrize(("kind", "angle", "layer_mm"), CASES)
def test_joint_follows_its_table(
    kind: str, angle: float, layer_mm: float, capsys: pytest.CaptureFixture[str]
) -> None:
    # Source: computed, two-dimensional finite elements (joint_reference). The table does not say whether heat
    # reaches the joint through the folded layer, as vapour leaves it and as the model has it, or by h on all
    # of the surface; so both are run. Set B at 30° and 4 mm is the one entry where folded heat is over 10 %
    # off: the solution below, which agrees with all others within 3 %, is 8 % over that entry too.
    wanted = tabled(kind, angle, layer_mm)
    folded = joint_hours(SLURRIES[kind], angle, layer_mm)
    plain = joint_hours(SLURRIES[kind], angle, layer_mm, folded_heat=False)
    with capsys.disabled():
        print(
            f"\n  {kind} {angle:g}° {layer_mm} mm: {folded[0]:.2f} / {folded[1]:.2f} h, table {wanted[0]} / "
            f"{wanted[1]}: {percent(folded, wanted)}; heat by h on the surface {percent(plain, wanted)}",
            end="",
        )
    assert plain == pytest.approx(wanted, rel=0.10)
    assert folded == pytest.approx(wanted, rel=0.12 if (kind, angle, layer_mm) == ("B", 30.0, 4.0) else 0.10)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "angle", "layer_mm"), CASES)
def test_joint_follows_finite_elements(
    kind: str, angle: float, layer_mm: float, capsys: pytest.CaptureFixture[str]
) -> None:
    # Source: computed here, two-dimensional finite elements for the same equations (corner_solution).
    got, wanted = joint_hours(SLURRIES[kind], angle, layer_mm), solved_hours(kind, angle, layer_mm)
    with capsys.disabled():
        print(
            f"\n  {kind} {angle:g}° {layer_mm} mm: {wanted[0]:.2f} / {wanted[1]:.2f} h in two dimensions; "
            f"strip {percent(got, wanted)}; table {percent(tabled(kind, angle, layer_mm), wanted)}",
            end="",
        )
    assert got == pytest.approx(wanted, rel=0.10)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "angle", "older"),
    [("B", 30.0, 1), ("B", 30.0, 3), ("B", 60.0, 3), ("N", 60.0, 1), ("N", 90.0, 3)],
)
def test_a_coat_on_older_ones_follows_finite_elements(
    kind: str, angle: float, older: int, capsys: pytest.CaptureFixture[str]
) -> None:
    # Source: computed here, as above; all coats of one slurry that drinks as readily as it dries.
    got, wanted = (
        joint_hours(SLURRIES[kind], angle, 2.5, older_coats=older),
        solved_hours(kind, angle, 2.5, older),
    )
    with capsys.disabled():
        print(
            f"\n  {kind} {angle:g}°, {older} older: {wanted[0]:.2f} / {wanted[1]:.2f} h in two dimensions; "
            f"strip {percent(got, wanted)}",
            end="",
        )
    assert got == pytest.approx(wanted, rel=0.10)


@pytest.mark.parametrize("kind", FLAT_HOURS)
def test_flat_coat_follows_its_table(kind: str) -> None:
    # Source: computed, the flat of the same table: shows that the constants are the same.
    for layer_mm, wanted in zip(LAYERS_MM, FLAT_HOURS[kind], strict=True):
        assert flat_hours(SLURRIES[kind], layer_mm) == pytest.approx(wanted, rel=0.01)


@settings(max_examples=12, deadline=None)
@given(angle=st.floats(20.0, 115.0), more=st.floats(2.0, 30.0), layer_mm=st.floats(0.8, 6.0))
def test_a_smaller_angle_is_slower(angle: float, more: float, layer_mm: float) -> None:
    sharp = joint_hours(SLURRIES["B"], angle, layer_mm)
    blunt = joint_hours(SLURRIES["B"], min(angle + more, 120.0), layer_mm)
    assert sharp[0] > blunt[0]
    assert sharp[1] > blunt[1]


def test_a_blunt_joint_tends_to_the_flat(capsys: pytest.CaptureFixture[str]) -> None:
    over = [
        joint_hours(SLURRIES["B"], angle, 2.5)[1] / flat_hours(SLURRIES["B"], 2.5)[1]
        for angle in (90.0, 120.0, 150.0)
    ]
    with capsys.disabled():
        print(
            f"\n  time at a joint over the flat's at 90, 120, 150°: {', '.join(f'{o:.3f}' for o in over)}",
            end="",
        )
    assert over[0] > over[1] > over[2] > 0.99
    assert over[2] < 1.05


def test_ten_coats_at_a_sharp_joint_dry_in_a_sensible_time(capsys: pytest.CaptureFixture[str]) -> None:
    hours = [joint_hours(SLURRIES["B"], 30.0, 2.5, older_coats=older)[1] for older in (0, 1, 4, 9)]
    with capsys.disabled():
        print(f"\n  set B at 30°, 0, 1, 4, 9 older coats: {', '.join(f'{h:.1f} h' for h in hours)}", end="")
    assert hours == sorted(hours)
    assert hours[-1] < 48.0


@pytest.mark.parametrize("coats", [1, 4])
def test_water_is_conserved(coats: int) -> None:
    mesh = joint_network(30.0, FILLET_M, (COAT_M,) * coats)
    network, slurry = mesh.network, SLURRIES["B"]
    coupling = vapour_coupling(mesh, 0.0025)
    heat, radiation = (
        AIR_LAYER_W_MK * float(coupling.sum()),
        RADIATION_W_M2K * float(network.station_area.sum()),
    )
    start = np.random.default_rng(1).uniform(0.05, 0.9, (1, network.cells))
    shell = medium(network, slurry, rewetting=50.0)
    water = shell.capacity[0]
    for vapour, bound in ((0.0 * coupling, 1e-10), (VAPOUR_M2_S * coupling, 1e-6)):
        around, solver = surroundings(vapour, heat, radiation), Solver(shell)
        surface = potential(start[:, network.station_cell], np.array([slurry.exponent]))
        state = solver.settle(Wetness(start, surface, np.array([AIR_C]), np.zeros(1), FIRST_STEP_S), around)
        for _ in range(10):
            state = solver.advance(state, around, 600.0)
        before, after = float(start[0] @ water), float(state.saturation[0] @ water)
        assert after + float(state.evaporated[0]) == pytest.approx(before, rel=bound)
    assert after < 0.9 * before
