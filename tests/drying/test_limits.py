"""What every drying shell must do, whatever its figures: laws tried on faces, pockets and joints."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.air import Air
from server.drying.shell import SpotShell
from tests.drying.shells import SHOP, after, dipped, member

LAW = settings(max_examples=12, deadline=None)

codes = st.sampled_from(["face", "pocket:12x40", "joint:30", "joint:90"])
temps = st.floats(8.0, 32.0)
humidities = st.floats(10.0, 85.0)
speeds = st.floats(0.05, 3.0)
kinds = st.sampled_from(["prime", "backup", "seal"])


def water(shell: SpotShell) -> float:
    """Water in the shell over what the dips brought: it is the same coat in both of a pair."""
    return float(shell.water_kg[0] / shell.brought_kg[0])


def remaining(shell: SpotShell) -> float:
    return float(shell.remaining()[0])


@LAW
@given(codes, temps, humidities, speeds, st.floats(1.0, 10.0))
def test_damper_air_is_slower(code: str, temp: float, humidity: float, speed: float, more: float) -> None:
    dry, damp = (after(dipped(code), Air(temp, rh, speed), 60.0) for rh in (humidity, humidity + more))
    assert water(damp) > water(dry)


@LAW
@given(codes, temps, humidities, speeds, st.floats(1.0, 10.0))
def test_hotter_air_is_faster(code: str, temp: float, humidity: float, speed: float, more: float) -> None:
    cool, warm = (after(dipped(code), Air(t, humidity, speed), 60.0) for t in (temp, temp + more))
    assert water(warm) < water(cool)


@LAW
@given(codes, temps, humidities, st.floats(0.1, 2.0), st.floats(1.2, 3.0))
def test_still_air_is_slower(code: str, temp: float, humidity: float, speed: float, times: float) -> None:
    moving, fast = (after(dipped(code), Air(temp, humidity, v), 60.0) for v in (speed, speed * times))
    still = after(dipped(code), Air(temp, humidity, 0.0), 60.0)
    assert water(fast) < water(moving) < water(still)


@LAW
@given(st.sampled_from(["face", "joint:30", "pocket:12x40"]), st.floats(0.3, 1.5), st.floats(1.1, 2.0))
def test_a_thicker_coat_is_slower(code: str, thickness_mm: float, times: float) -> None:
    thin, thick = (
        after(dipped(code, thickness_mm=t), SHOP, 40.0) for t in (thickness_mm, thickness_mm * times)
    )
    assert remaining(thick) > remaining(thin)


@LAW
@given(st.floats(20.0, 140.0), st.floats(3.0, 10.0), kinds)
def test_a_sharper_joint_is_slower(angle: float, less: float, kind: str) -> None:
    wide, sharp = (after(dipped(f"joint:{a}", kind), SHOP, 90.0) for a in (angle, max(15.0, angle - less)))
    assert remaining(sharp) > remaining(wide)


@LAW
@given(st.floats(0.0, 80.0), st.floats(1.0, 50.0))
def test_a_deeper_pocket_is_slower(depth_mm: float, more: float) -> None:
    shallow, deep = (after(dipped(f"pocket:12x{d:.6f}"), SHOP, 60.0) for d in (depth_mm, depth_mm + more))
    assert remaining(deep) > remaining(shallow)


def test_a_pocket_of_no_depth_is_a_face() -> None:
    plain = dipped("face")
    for minutes in (20.0, 60.0):
        floor, face = after(dipped("pocket:50x0"), SHOP, minutes), after(plain, SHOP, minutes)
        # The same equations, but the face steps with its quicker columns: equal to the error of a step.
        assert remaining(floor) == pytest.approx(remaining(face), rel=1e-4)


@LAW
@given(codes, temps, speeds, kinds)
def test_saturated_air_dries_nothing(code: str, temp: float, speed: float, kind: str) -> None:
    shell = dipped(code, kind).advance(Air(temp, 100.0, speed), 1.0)
    later = after(shell, Air(temp, 100.0, speed), 300.0)
    assert water(later) == pytest.approx(water(shell), abs=1e-6)
    assert remaining(later) > 0.9


@LAW
@given(codes, temps, humidities, speeds, st.integers(0, 3), st.sampled_from([1.0, 30.0, 1000.0]))
def test_water_is_neither_lost_nor_made(
    code: str, temp: float, humidity: float, speed: float, older: int, rewetting: float
) -> None:
    shell = dipped(code, older=older, members=member(rewetting=rewetting))
    for block in range(30):
        shell = shell.advance(None if block % 7 == 3 else Air(temp, humidity, speed), 600.0)
    brought = float(shell.brought_kg[0])
    assert abs(float((shell.water_kg + shell.evaporated_kg)[0]) - brought) < 1e-9 * brought


@LAW
@given(st.sampled_from(["face", "joint:60", "joint:90"]), st.integers(1, 3))
def test_older_coats_make_a_coat_slower(code: str, older: int) -> None:
    """They take up some of its water and give it back late (common practice).

    Not so while it is wet: then the older coats' own heat keeps it a little warmer.
    """

    def blocks_until_a_twentieth_remains(shell: SpotShell) -> int:
        count = 0
        while remaining(shell) > 0.05:
            shell, count = shell.advance(SHOP, 120.0), count + 1
        return count

    first, later = (blocks_until_a_twentieth_remains(dipped(code, older=count)) for count in (0, older))
    assert later > first


def test_coats_that_hardly_drink_again_keep_the_water_where_it_came() -> None:
    free, slow = (
        after(dipped(older=3, members=member(rewetting=r, diffusivity=0.01)), SHOP, 30.0).coat_wetness()[0]
        for r in (1.0, 3000.0)
    )
    assert slow[0] < free[0]
    assert slow[-1] > free[-1]
