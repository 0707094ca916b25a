"""The laws of drying for every kind of spot and any member, and members that do not feel each other."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sensors.air import Air
from server.drying.materials import CENTRE, Members
from server.drying.shell import SpotShell
from tests.drying.shells import SHOP, after, dipped, member

LAW = settings(max_examples=10, deadline=None)

CODES = ["face", "pocket:12x40", "joint:30", "joint:90", "cavity:60x0.2", "cavity:60x0.2,blown"]

codes = st.sampled_from(CODES)
members = st.fixed_dictionaries(
    {
        "air_speed": st.floats(0.5, 2.0),
        "film_spread": st.floats(0.2, 1.0),
        "water": st.floats(0.8, 1.1),
        "diffusivity": st.floats(0.01, 1.0),
        "exponent": st.floats(2.0, 6.0),
        "rewetting": st.floats(1.0, 3000.0),
        "joint_layer": st.floats(0.6, 1.6),
        "lee": st.floats(-2.0, 2.0),
    }
)


def water(shell: SpotShell) -> float:
    """Water in the shell over what the dips brought [-]."""
    return float(shell.water_kg[0] / shell.brought_kg[0])


@pytest.mark.slow
@LAW
@given(codes, members, st.floats(-5.0, 45.0), st.floats(0.05, 3.0))
def test_saturated_air_never_dries(code: str, figures: dict[str, float], temp: float, speed: float) -> None:
    shell = dipped(code, members=member(**figures)).advance(Air(temp, 100.0, speed), 1.0)
    later = after(shell, Air(temp, 100.0, speed), 600.0)
    assert water(later) == pytest.approx(water(shell), abs=1e-6)


@LAW
@given(codes, members, st.floats(5.0, 35.0), st.floats(5.0, 80.0), st.floats(1.0, 10.0))
def test_warmer_or_drier_air_is_faster(
    code: str, figures: dict[str, float], temp: float, humidity: float, more: float
) -> None:
    chosen = member(**figures)
    usual, damp, warm = (
        after(dipped(code, members=chosen), Air(t, rh, 0.5), 60.0)
        for t, rh in ((temp, humidity), (temp, humidity + more), (temp + more, humidity))
    )
    assert water(warm) < water(usual) < water(damp)


@LAW
@given(codes, members, st.floats(0.1, 2.0), st.floats(1.3, 3.0))
def test_still_air_is_never_faster(code: str, figures: dict[str, float], speed: float, times: float) -> None:
    still, moving, fast = (
        after(dipped(code, members=member(**figures)), Air(21.0, 50.0, v), 60.0)
        for v in (0.0, speed, speed * times)
    )
    assert water(fast) <= water(moving) <= water(still)
    if not code.startswith("cavity") or code.endswith("blown"):
        assert water(fast) < water(still)


@LAW
@given(codes, members, st.floats(0.4, 1.2), st.floats(1.2, 2.0))
def test_a_thicker_coat_is_slower(
    code: str, figures: dict[str, float], thickness_mm: float, times: float
) -> None:
    thin, thick = (
        after(dipped(code, members=member(**figures), thickness_mm=mm), SHOP, 40.0)
        for mm in (thickness_mm, thickness_mm * times)
    )
    assert float(thick.remaining()[0]) > float(thin.remaining()[0])


@pytest.mark.slow
@LAW
@given(members, st.floats(25.0, 140.0), st.floats(4.0, 10.0))
def test_a_sharper_joint_is_slower(figures: dict[str, float], angle: float, less: float) -> None:
    wide, sharp = (
        after(dipped(f"joint:{a}", members=member(**figures)), SHOP, 90.0) for a in (angle, angle - less)
    )
    assert float(sharp.remaining()[0]) > float(wide.remaining()[0])


@LAW
@given(
    codes, members, st.floats(0.0, 5.0), st.floats(-10.0, 60.0), st.floats(0.0, 10.0), st.sampled_from([0, 2])
)
def test_very_dry_air_leaves_no_less_than_nothing(
    code: str, figures: dict[str, float], humidity: float, temp: float, speed: float, older: int
) -> None:
    air = Air(temp, humidity, speed)
    shell = after(dipped(code, older=older, air=air, members=member(**figures)), air, 20 * 60.0)
    for later in (shell, after(shell, Air(temp, 0.0, speed), 300.0), after(shell, None, 60.0)):
        assert later.wetness is not None
        assert (later.wetness.saturation >= -1e-6).all()
        assert float(later.water_kg[0]) >= 0.0
        for said in (later.remaining(), later.water_left(), later.cooling_k(), later.temp_c):
            assert np.isfinite(said).all()


def several() -> Members:
    """Three members that are not alike."""
    unlike = {
        "air_speed": [1.0, 0.6, 1.5],
        "film_spread": [0.7, 0.4, 0.9],
        "water": [1.0, 0.9, 1.05],
        "diffusivity": [1.0, 0.03, 0.3],
        "exponent": [3.0, 5.0, 4.0],
        "rewetting": [1.0, 1000.0, 30.0],
        "joint_layer": [1.0, 1.3, 0.8],
        "lee": [-1.28, 0.3, 1.0],
        "temp_k": [0.0, 0.2, -0.3],
        "rh_pct": [0.0, -1.5, 2.0],
    }
    return Members(fillet=np.ones(3), **{name: np.array(values) for name, values in unlike.items()})


def of(chosen: Members, order: list[int]) -> Members:
    return Members(**{item.name: getattr(chosen, item.name)[order] for item in fields(Members)})


def course(code: str, chosen: Members) -> SpotShell:
    return after(after(dipped(code, older=1, members=chosen), SHOP, 60.0), Air(15.0, 80.0, 0.1), 120.0)


@pytest.mark.parametrize("code", CODES)
def test_members_do_not_feel_each_other(code: str) -> None:
    """They share steps: in another order, or more than once, each gives the same water to rounding."""
    chosen = several()
    straight, turned = course(code, chosen).water_kg, course(code, of(chosen, [2, 0, 1])).water_kg
    assert turned == pytest.approx(straight[[2, 0, 1]], rel=1e-9)
    twice = course(code, of(chosen, [0, 1, 2, 1, 0])).water_kg
    assert twice == pytest.approx(straight[[0, 1, 2, 1, 0]], rel=1e-9)


@pytest.mark.parametrize("code", CODES)
def test_members_are_what_each_is_alone(code: str) -> None:
    """The same one many times gives what it gives alone, to rounding; unlike ones, to the error of a step."""
    alone = [course(code, of(several(), [index])).water_kg[0] for index in range(3)]
    many = course(code, of(several(), [1] * 5)).water_kg
    assert many == pytest.approx(np.full(5, alone[1]), rel=1e-9)
    assert course(code, several()).water_kg == pytest.approx(alone, rel=2e-3)


def test_the_centre_is_one_member() -> None:
    assert CENTRE.count == 1
