"""Likelihoods of what is measured, weights, and drawing members anew."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from server.drying import advice, resampling, surface_temp, touch, weighing
from server.drying.instruments import Instruments
from server.drying.learning import Measured, Told, axes_told_of, disbelief, log_likelihood
from server.drying.looks import Look, look_at
from server.drying.resampling import Cloud
from server.drying.weighing import Weighing
from tests.drying.shells import SHOP, after, dipped

Floats = NDArray[np.float64]

WATER = np.linspace(0.4, 0.1, 6)[:, None] * np.array([1.0, 0.8, 0.5])
"""Water at six weighings by three members [kg/m²]."""


def weighed(member: int, area_m2: float = 0.4, tare: float = 3.0, absurd: float = 0.0) -> list[Weighing]:
    kg = tare + area_m2 * WATER[:, member]
    kg[2] += absurd
    return [Weighing(1, float(one)) for one in kg]


@pytest.mark.parametrize("absurd", [0.0, 1.0, -1.0])
def test_the_member_that_dries_so_is_believed_whatever_the_tare(absurd: float) -> None:
    for tare in (0.5, 30.0):
        found = weighing.log_likelihood(weighed(1, tare=tare, absurd=absurd), WATER, 0.4)
        assert int(found.argmax()) == 1
    even = np.full(3, 1.0 / 3.0)
    doubt = weighing.disbelieved(weighed(1, absurd=absurd), WATER, even, 0.4)
    assert [bool(share > 0.5) for share in doubt] == [index == 2 and absurd != 0.0 for index in range(6)]


def test_likelihood_is_that_of_a_brute_sum() -> None:
    """Integrated over a fine grid of tares and areas, each reading right or absurd; computed here."""
    said = weighed(1, absurd=0.02)[:4]
    kg = np.array([one.kg for one in said])
    areas = np.linspace(0.1, 0.7, 601)
    tares = np.linspace(2.9, 3.1, 2001)
    prior = np.exp(-0.5 * ((areas - 0.4) / 0.06) ** 2)
    prior /= prior.sum()
    right, wrong = 1.0 - weighing.ABSURD_SHARE, weighing.ABSURD_SHARE / weighing.ABSURD_RANGE_KG
    brute = np.zeros(3)
    for member in range(3):
        off = kg[:, None, None] - tares[:, None] - areas * WATER[:4, member][:, None, None]
        likely = np.exp(-0.5 * (off / 0.002) ** 2) / (np.sqrt(2 * np.pi) * 0.002)
        chance = (right * likely + wrong).prod(axis=0) @ prior
        brute[member] = np.log(chance.mean() * (tares[-1] - tares[0]) / weighing.ABSURD_RANGE_KG)
    found = weighing.log_likelihood(said, WATER[:4], 0.4)
    # Three and four absurd ones at once are left out, and so are negative areas' far tails.
    assert found - found[1] == pytest.approx(brute - brute[1], abs=0.1)


def test_each_dip_has_a_tare_of_its_own() -> None:
    said = [Weighing(1 if index < 3 else 2, one.kg + (index >= 3)) for index, one in enumerate(weighed(1))]
    assert int(weighing.log_likelihood(said, WATER, 0.4).argmax()) == 1
    assert weighing.disbelieved(said, WATER, np.full(3, 1.0 / 3.0), 0.4).max() < 0.5


def test_one_weighing_alone_tells_nothing() -> None:
    found = weighing.log_likelihood([Weighing(1, 3.2)], WATER[:1], None)
    assert np.ptp(found) == pytest.approx(0.0, abs=1e-9)


def test_a_touch_tells_of_the_surface_and_next_to_nothing_in_a_pocket() -> None:
    activity = np.array([1.0, 0.5])
    face = touch.damp_chance(activity)
    pocket = touch.damp_chance(activity, in_pocket=True)
    assert face[0] / face[1] > 10.0
    assert pocket[0] / pocket[1] < 1.5
    for word in ("damp", "dark"):
        other = {"damp": "dry", "dark": "pale"}[word]
        both = [touch.said_chance(one, activity, activity, False) for one in (word, other)]
        assert both[0] + both[1] == pytest.approx(1.0)
    with pytest.raises(ValueError, match="'wet' is not one of damp, dry, dark, pale"):
        touch.said_chance("wet", activity, activity, False)


def test_an_absurd_temperature_costs_no_member_its_weight() -> None:
    found = surface_temp.log_likelihood(40.0, np.array([0.0, 3.0]))
    assert np.ptp(found) == pytest.approx(0.0, abs=1e-9)
    near = surface_temp.log_likelihood(3.0, np.array([0.0, 3.0]))
    assert near[1] - near[0] > 3.0


def test_what_would_be_met_at_a_drying_shell() -> None:
    """Wet, its surface is as good as free water and colder than the air; dry, neither, whatever the spot."""
    for code in ("face", "joint:60", "pocket:20x10"):
        wet, dry = after(dipped(code), SHOP, 20.0), after(dipped(code), SHOP, 5 * 24 * 60.0)
        before, later = look_at(wet, SHOP), look_at(dry, SHOP)
        assert before.activity[0] > 0.95
        assert later.activity[0] < 0.75
        assert before.saturation[0] > later.saturation[0]
        assert before.cooler_k[0] > 0.5 > later.cooler_k[0]
        assert before.water_kg_m2[0] > later.water_kg_m2[0]


def test_kinds_add_up_and_are_doubted_each_on_its_own() -> None:
    look = Look(np.array([0.3, 0.3]), np.array([1.0, 0.5]), np.array([0.5, 0.02]), np.array([4.0, 0.1]))
    told = [
        Told(1, "touch", "face", 1, word="dry"),
        Told(2, "surface_temp", "face", 1, value=25.0, error=0.5),
        Told(3, "colour", "face", 1, word="pale"),
    ]
    found = log_likelihood(told, [look] * 3, None)
    assert found[1] > found[0]
    doubt = disbelief(told, [look] * 3, np.array([0.5, 0.5]), None)
    assert [share > 0.5 for share in doubt] == [False, True, False]


def test_only_what_can_be_told_of_is_moved() -> None:
    axes = ("air_speed", "lee", "joint_layer", "water_seal", "rewetting", "rewetting_prime", "temp_k")
    face = axes_told_of([("face", ["prime"])], axes)
    joint = axes_told_of([("joint:30", ["prime", "seal"])], axes)
    assert face.tolist() == [True, False, False, False, False, False, True]
    assert joint.tolist() == [True] * 7


@given(st.integers(2, 40), st.integers(0, 2**31))
@settings(max_examples=40, deadline=None)
def test_drawing_anew_keeps_how_many_and_about_where(count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    weights = rng.random(count) + 1e-3
    weights /= weights.sum()
    drawn = resampling.systematic(weights, rng)
    times = np.bincount(drawn, minlength=count)
    assert times.sum() == count
    # Systematic: never off by one or more from what the weight says.
    assert (np.abs(times - count * weights) < 1.0).all()
    assert 1.0 - 1e-9 <= resampling.effective_size(weights) <= count + 1e-9


@given(st.integers(1, 40), st.integers(1, 40), st.integers(0, 2**31))
@settings(max_examples=60, deadline=None)
def test_those_picked_are_different_and_the_heavy_stay_as_heavy(count: int, wide: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    weights = rng.random(wide) ** 8 * (rng.random(wide) < 0.8)
    weights[0] += 1e-3
    weights /= weights.sum()
    chosen, kept = resampling.picked(weights, count, rng)
    assert len(set(chosen.tolist())) == chosen.size == min(count, wide)
    assert kept.sum() == pytest.approx(1.0)
    # None loses weight by being picked; those that gain all come to the same.
    assert (kept >= weights[chosen] - 1e-12).all()
    gained = kept[kept > weights[chosen] + 1e-9]
    assert gained == pytest.approx(gained.mean() if gained.size else 0.0)


def test_picking_keeps_the_mean_over_many_turns() -> None:
    rng = np.random.default_rng(4)
    weights = rng.random(60) ** 6
    weights /= weights.sum()
    values = rng.standard_normal(60)
    said = []
    for _ in range(2000):
        chosen, kept = resampling.picked(weights, 10, rng)
        said.append(kept @ values[chosen])
    error = np.std(said) / np.sqrt(2000)
    assert abs(np.mean(said) - weights @ values) < 4.0 * error
    # A plain draw of ten by weight would spread by this much more.
    plain = np.sqrt(weights @ (values - weights @ values) ** 2 / 10)
    assert np.std(said) < plain


def test_rounds_begin_wide_and_keep_few() -> None:
    """The same closed form as above, N(1.6, 0.2), by 32 kept of 256."""
    points = np.random.default_rng(6).standard_normal((256, 1))
    start = Cloud(points, np.full(256, 1.0 / 256))
    reckoned = []

    def likely(at: NDArray[np.float64]) -> NDArray[np.float64]:
        reckoned.append(len(at))
        return np.asarray(-2.0 * (at[:, 0] - 2.0) ** 2)

    cloud = resampling.learn(start, np.array([True]), 3, likely, 32)
    assert reckoned[0] == 256
    assert set(reckoned[1:]) <= {32}
    assert cloud.points.shape == (32, 1)
    assert cloud.weights @ cloud.points[:, 0] == pytest.approx(1.6, abs=0.15)


def test_breeding_keeps_mean_and_covariance() -> None:
    rng = np.random.default_rng(5)
    points = rng.standard_normal((4000, 2)) @ np.array([[1.0, 0.8], [0.0, 0.6]])
    weights = np.exp(-0.5 * (points[:, 0] - 1.0) ** 2)
    weights /= weights.sum()
    bred = resampling.bred(points, weights, rng)
    assert bred.mean(axis=0) == pytest.approx(weights @ points, abs=0.06)
    assert np.cov(bred.T) == pytest.approx(np.cov(points.T, aweights=weights), abs=0.08)


def test_rounds_come_to_the_posterior() -> None:
    """A normal prior and a normal likelihood have a normal posterior, N(1.6, 0.2) here: closed form."""
    rng = np.random.default_rng(1)
    points = rng.standard_normal((4000, 2))
    prior = Cloud(points, np.full(4000, 1.0 / 4000))
    active = np.array([True, False])
    cloud = resampling.learn(prior, active, 3, lambda at: -2.0 * (at[:, 0] - 2.0) ** 2)
    mean = cloud.weights @ cloud.points[:, 0]
    spread = cloud.weights @ (cloud.points[:, 0] - mean) ** 2
    assert mean == pytest.approx(1.6, abs=0.05)
    assert spread == pytest.approx(0.2, abs=0.03)
    assert cloud.rounds >= 1
    assert cloud.effective >= 0.5 * 4000 - 1e-6
    assert np.array_equal(cloud.points[:, 1], points[:, 1])
    again = resampling.learn(prior, active, 3, lambda at: -2.0 * (at[:, 0] - 2.0) ** 2)
    assert np.array_equal(again.points, cloud.points)


def test_a_likelihood_of_nothing_changes_nothing() -> None:
    prior = Cloud(np.zeros((4, 1)), np.full(4, 0.25))
    cloud = resampling.learn(prior, np.array([True]), 3, lambda at: np.full(4, -np.inf))
    assert np.array_equal(cloud.weights, prior.weights)


def test_what_parts_the_members_is_advised() -> None:
    fit_s = np.array([3600.0, 4000.0, 36000.0, 40000.0])
    even = np.full(4, 0.25)
    flat = Look(np.ones(4), np.ones(4), np.ones(4), np.zeros(4))
    parted = Look(np.ones(4), np.array([0.5, 0.5, 1.0, 1.0]), np.ones(4), np.zeros(4))
    early = advice.weigh("touch", "face", 600.0, flat, even, fit_s)
    later = advice.weigh("touch", "face", 7200.0, parted, even, fit_s)
    pocket = advice.weigh("touch", "pocket:20x40", 7200.0, parted, even, fit_s)
    assert early.narrowed == pytest.approx(1.0)
    assert later.narrowed < 0.6
    assert pocket.narrowed > 0.9
    assert advice.best([early, later, pocket]) is later
    assert advice.best([]) is None


def test_what_is_read_more_finely_is_expected_to_tell_more() -> None:
    """A surface half a kelvin apart, and two grams of water, by the usual instruments and by finer ones."""
    fit_s, even = np.array([3600.0, 36000.0]), np.full(2, 0.5)
    look = Look(np.ones(2), np.ones(2), np.ones(2), np.array([1.0, 1.5]))
    fine = Instruments(weighing_kg=0.0004, difference_k=0.2)
    cases: tuple[tuple[Measured, Floats | None], ...] = (
        ("surface_temp", None),
        ("weighing", np.array([0.010, 0.012])),
    )
    for kind, dried_kg in cases:
        usual, finer = (
            advice.weigh(kind, "face", 600.0, look, even, fit_s, dried_kg, by).narrowed
            for by in (Instruments(), fine)
        )
        assert finer < 0.75 * usual < 0.75
