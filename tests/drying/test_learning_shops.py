"""How much nearer the truth measuring brings the forecast, on made-up shops whose truth is known."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from server.drying import advice, surface_temp, touch, weighing
from server.drying.drawing import MEMBERS, default_points, default_wide_points, drawn_points
from server.drying.ensemble import weighted_quantile
from server.drying.instruments import USUAL_SCALE_G, weighing_error_kg
from server.drying.learning import Measured, axes_told_of
from server.drying.looks import Look
from server.drying.materials import Members
from server.drying.priors import members_at, names
from server.drying.resampling import picked, reweighted
from server.drying.weighing import Weighing
from tests.drying.synthetic_shops import Course, course, learn_all, part

Floats = NDArray[np.float64]

SHOPS = 24
THREE = (0.1, 3.0, 6.0)
TEN = (0.1, 0.6, 1.2, 1.8, 2.4, 3.0, 3.8, 4.6, 5.5, 6.5)
HOURS = 30.0


@lru_cache(maxsize=1)
def truths() -> Course:
    """Shops drawn from the prior by a seed of their own."""
    return course(members_at(drawn_points(SHOPS, 77)), "face", HOURS)[0]


def weighed(
    hours: tuple[float, ...], area_m2: float, absurd: int | None, reads_to_g: float
) -> list[list[Weighing]]:
    """What a scale shows, its swing a fifth of what it reads to; one reading maybe a kilogram off."""
    rng, step = np.random.default_rng(3), 1e-3 * reads_to_g
    kg = 2.0 + area_m2 * truths().water(hours) + 0.2 * step * rng.standard_normal((len(hours), SHOPS))
    if absurd is not None:
        kg[absurd] += 1.0
    error = weighing_error_kg(reads_to_g)
    return [[Weighing(3, float(one), error) for one in np.round(shop / step) * step] for shop in kg.T]


@lru_cache(maxsize=16)
def errors(
    hours: tuple[float, ...], area_m2: float, absurd: int | None = None, reads_to_g: float = USUAL_SCALE_G
) -> tuple[float, float]:
    """Median error of the face's time to fit [h] after those weighings, and before."""
    said = weighed(hours, area_m2, absurd, reads_to_g)

    def likelihood(shop: int, looks: Sequence[Look]) -> Floats:
        return weighing.log_likelihood(said[shop], np.stack([look.water_kg_m2 for look in looks]), None)

    median, _ = learn_all(
        SHOPS,
        axes_told_of([("face", ["backup"] * 3)], names()),
        lambda members: course(members, "face", HOURS)[0],
        likelihood,
        lambda found: [found.at(hour) for hour in hours],
    )
    before = np.abs(middle(course(members_at(default_points()), "face", HOURS)[0].fit_h) - truths().fit_h)
    return float(np.median(np.abs(median - truths().fit_h))), float(np.median(before))


def middle(values: Floats, weights: Floats | None = None) -> float:
    """The median of members' values."""
    return weighted_quantile(
        values, np.full(values.size, 1.0 / values.size) if weights is None else weights, 0.5
    )


@pytest.mark.slow
@pytest.mark.parametrize(("hours", "bar"), [(THREE, 0.5), (TEN, 0.25)])
def test_weighing_one_coat(hours: tuple[float, ...], bar: float) -> None:
    """A scale that reads to 5 g on a tree of a square metre, whose area nobody said: 320 g of water a dip.

    What a scale can tell hangs on that: a tree of 0.3 m², 96 g a dip, is printed beside it. There no way of
    learning comes to a quarter by ten weighings to 5 g; from about 0.7 m² on this one does: see
    benchmarks/weighing_bound.py.
    """
    for area_m2 in (1.0, 0.3):
        after, before = errors(hours, area_m2)
        share = after / before
        print(f"{area_m2} m², {len(hours)} weighings: off by {after:.2f} h, was {before:.2f} h: {share:.2f}")
        assert after < before
        if area_m2 == 1.0:
            assert after < bar * before


@pytest.mark.slow
@pytest.mark.parametrize(("hours", "bar"), [(THREE, 0.5), (TEN, 0.25)])
def test_weighing_a_small_tree_to_a_gram(hours: tuple[float, ...], bar: float) -> None:
    """What a shop that says its scale reads to 1 g learns of a tree of 0.3 m²."""
    after, before = errors(hours, 0.3, reads_to_g=1.0)
    print(
        f"0.3 m², to 1 g, {len(hours)} weighings: "
        f"off by {after:.2f} h, was {before:.2f} h: {after / before:.2f}"
    )
    assert after < bar * before


@pytest.mark.slow
def test_one_absurd_weighing_does_not_wreck_it() -> None:
    """The fifth of ten weighings is a kilogram too heavy."""
    after, before = errors(TEN, 1.0, absurd=4)
    plain, _ = errors(TEN, 1.0)
    print(f"one of ten absurd: off by {after:.2f} h, without it {plain:.2f} h, before any {before:.2f} h")
    assert after < 0.5 * before
    assert after < 1.5 * plain + 0.02


def families() -> Members:
    """Shops of the two families that follow the published trial, six of each, with a joint's usual layer.

    The water moves slowly inside and set coats hardly drink (diffusivity 3e-11 to 9e-11, b 8 to 2, re-wetting
    2000, one film), or it moves fast and the film varies (5e-9 to 2e-8, b 3, film 0.68).
    """
    six = np.ones(6)
    slow = np.geomspace(3e-3, 9e-3, 6)
    both = {
        "air_speed": (six, six),
        "film_spread": (0.3 * six, 0.68 * six),
        "water": (1.1 * six, six),
        "diffusivity": (slow, np.geomspace(0.5, 2.0, 6)),
        "exponent": (np.linspace(8.0, 2.0, 6), 3.0 * six),
        "rewetting": (2000.0 * six, six),
        "joint_layer": (six, six),
        "fillet": (six, six),
        "lee": (0.0 * six, 0.0 * six),
    }
    return Members(**{name: np.concatenate(pair) for name, pair in both.items()})


def likely(kind: Measured, said: float, look: Look) -> Floats:
    """Log likelihood of what was found, by each member."""
    if kind == "surface_temp":
        return surface_temp.log_likelihood(said, look.cooler_k)
    damp = touch.damp_chance(look.activity)
    return np.log(damp if said else 1.0 - damp)


def found(kind: Measured, look: Look, shop: int, rng: np.random.Generator) -> float:
    """What is found at a made-up shop: a temperature off by half a kelvin, or 1 for damp."""
    if kind == "surface_temp":
        return float(look.cooler_k[shop] + surface_temp.ERROR_K * rng.standard_normal())
    return float(rng.random() < touch.damp_chance(look.activity)[shop])


MOMENTS = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)
KINDS: tuple[Measured, ...] = ("touch", "surface_temp")


def asked(members: Course, kinds: Sequence[Measured] = KINDS) -> advice.Candidate:
    """What is asked for of a joint in the first sixteen hours, by members as drawn."""
    even = np.full(members.fit_h.size, 1.0 / members.fit_h.size)
    best = advice.best(
        [
            advice.weigh(kind, "joint:30", hour * 3600.0, members.at(hour), even, members.fit_h * 3600.0)
            for kind in kinds
            for hour in MOMENTS
        ]
    )
    assert best is not None
    return best


@lru_cache(maxsize=1)
def next_coat_off() -> dict[Measured, tuple[float, float, float, float]]:
    """By what one measurement at a 30° joint leaves the forecast of the next coat off, a day later, median.

    By as many members as are judged by, picked from the wide draw as a place does that learns. For each kind,
    made when it tells most: in slow shops, before and after it, and in fast ones [-].
    """
    shops, prior = families(), members_at(default_wide_points())
    joined = Members(
        **{
            name: np.concatenate([by_kind(getattr(shops, name), getattr(prior, name)), getattr(prior, name)])
            for name in vars(prior)
        }
    )
    first, second = course(joined, "joint:30", 24.0, 200.0)
    true, mine = slice(0, 12), slice(12, None)
    seen = Course([part(look, mine) for look in first.looks], first.fit_h[mine])
    rng = np.random.default_rng(11)
    truth, foretold = second.fit_h[true], second.fit_h[mine]
    before = np.abs(middle(foretold) / truth - 1.0)
    even = np.full(foretold.size, 1.0 / foretold.size)
    figures: dict[Measured, tuple[float, float, float, float]] = {}
    for kind in KINDS:
        ask = asked(seen, (kind,))
        hour = ask.seconds / 3600.0
        off = np.zeros((20, 12))
        for turn in range(20):
            for shop in range(12):
                said = found(kind, part(first.at(hour), true), shop, rng)
                weights = reweighted(even, likely(kind, said, seen.at(hour)))
                chosen, kept = picked(weights, MEMBERS, rng)
                off[turn, shop] = abs(middle(foretold[chosen], kept) / truth[shop] - 1.0)
        slow, fast = slice(0, 6), slice(6, 12)
        figures[kind] = (
            float(np.median(before[slow])),
            float(np.median(off[:, slow])),
            float(np.median(before[fast])),
            float(np.median(off[:, fast])),
        )
        words = "slow shops {:.2f}, {:.2f}; fast shops {:.2f}, {:.2f}".format(*figures[kind])
        print(f"{kind} at {hour:g} h; next coat off by, before and after: {words}")
    return figures


@pytest.mark.slow
def test_one_measurement_at_a_joint_brings_fast_shops_nearer() -> None:
    for _, _, before, after in next_coat_off().values():
        assert after < 0.75 * before


@pytest.mark.slow
def test_one_temperature_at_a_joint_brings_fast_shops_to_within_a_quarter() -> None:
    """A touch, one bit, is printed beside it."""
    assert next_coat_off()["surface_temp"][3] <= 0.25


@pytest.mark.slow
@pytest.mark.xfail(
    strict=True,
    reason="in slow shops no reading of the surface could by this prior, not even with the air at the joint "
    "known; a prior that is half slow would lose the fast ones; see benchmarks/learning_bound.py",
)
def test_one_measurement_at_a_joint_brings_both_families_to_within_a_quarter() -> None:
    best = np.min([[slow, fast] for _, slow, _, fast in next_coat_off().values()], axis=0)
    assert (best <= 0.25).all()


def by_kind(values: Floats, like: Floats) -> Floats:
    """Figures as wide as others are: one for every kind of coat."""
    return np.repeat(values[:, None], like.shape[1], axis=1) if like.ndim == 2 else values


@pytest.mark.slow
def test_following_the_advice_beats_measuring_at_random_times() -> None:
    """Sixty-four shops drawn from the prior, a 30° joint, one measurement each; errors of log time to fit."""
    shops = 64
    members = members_at(np.concatenate([drawn_points(shops, 77), default_points()]))
    both = course(members, "joint:30", 48.0)[0]
    fit_h = np.minimum(both.fit_h, 48.0)
    mine = Course([part(look, slice(shops, None)) for look in both.looks], fit_h[shops:])
    ask = asked(mine)
    rng = np.random.default_rng(5)

    def off(kind: Measured, hour: float) -> Floats:
        errors = np.zeros(shops)
        for shop in range(shops):
            said = found(kind, both.at(hour), shop, rng)
            even = np.full(mine.fit_h.size, 1.0 / mine.fit_h.size)
            weights = reweighted(even, likely(kind, said, mine.at(hour)))
            errors[shop] = (weights @ np.log(mine.fit_h) - np.log(fit_h[shop])) ** 2
        return errors

    advised = float(np.sqrt(np.mean([off(ask.kind, ask.seconds / 3600.0) for _ in range(5)])))
    at_random = float(np.sqrt(np.mean([off(kind, hour) for kind in KINDS for hour in MOMENTS])))
    none = float(np.sqrt(np.mean((np.log(mine.fit_h).mean() - np.log(fit_h[:shops])) ** 2)))
    print(
        f"asked: {ask.kind} at {ask.seconds / 3600:g} h, expected to narrow to {ask.narrowed:.2f}; "
        f"error of log time {advised:.2f}, at random {at_random:.2f}, with none {none:.2f}"
    )
    assert advised < at_random < none
