"""The best that a scale could do for trees of several sizes: what any way of learning is held back by.

Shops are drawn from the prior. Each is foretold by many other points of it, every one weighed exactly by the
likelihood of what the scale showed: no members are drawn anew, no jitter, nothing lost but what the scale
does not tell. The median of that is what no other median of the same belief can beat by much.

What counts is the scale's error over the tree's area: a dip brings 320 g of water to a square metre, 96 g to
0.3 m², 40 g to an eighth, where the twentieth that may remain is 2 g.

A study and no check of the program, so that it runs when it is asked for:

    python -m pytest tests/benchmarks/weighing_bound.py -s
"""

from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from server.drying import weighing
from server.drying.drawing import drawn_points
from server.drying.ensemble import weighted_quantile
from server.drying.priors import members_at
from server.drying.weighing import Weighing
from tests.drying.synthetic_shops import Course, course

Floats = NDArray[np.float64]

SHOPS = 96
POOL = 1024
TURNS = 2
BAR = 0.25
THREE = (0.1, 3.0, 6.0)
TEN = {
    "evenly": (0.1, 0.6, 1.2, 1.8, 2.4, 3.0, 3.8, 4.6, 5.5, 6.5),
    "early": (0.1, 0.4, 0.8, 1.2, 1.6, 2.0, 2.3, 2.7, 3.1, 3.5),
    "late": (0.1, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0, 24.0),
    "at the ends": (0.1, 0.1, 0.1, 0.1, 0.1, 2.0, 2.5, 3.0, 3.5, 10.0),
}
"""When ten weighings of one coat may be made [h after the dip]."""

HANGING = (0.005, 0.001)
"""A hanging scale: what it reads to, and its swing [kg]."""

BENCH = (0.001, 0.0003)
"""A bench scale that reads to a gram, on which a tree stands in its rest [kg] (assumed)."""


@lru_cache(maxsize=1)
def coats() -> Course:
    """A third coat on a face, by the shops and then by the pool."""
    points = np.concatenate([drawn_points(SHOPS, 78), drawn_points(POOL, 991)])
    return course(members_at(points), "face", 30.0)[0]


def left(
    hours: tuple[float, ...],
    area_m2: float,
    scale: tuple[float, float] = HANGING,
    said: bool = True,
) -> float:
    """Median error of the time to fit after those weighings over what it is before any [-].

    said: whether the shop told the tree's area.
    """
    step, swing = scale
    error = float(np.hypot(step / np.sqrt(12.0), swing))
    water, fit_h = coats().water(hours), coats().fit_h
    pool = fit_h[SHOPS:]
    after = []
    for turn in range(TURNS):
        rng = np.random.default_rng(turn)
        kg = 2.0 + area_m2 * water[:, :SHOPS] + swing * rng.standard_normal((len(hours), SHOPS))
        for shop, read in enumerate(np.round(kg / step).T * step):
            shown = [Weighing(3, float(one), error) for one in read]
            likely = weighing.log_likelihood(shown, water[:, SHOPS:], area_m2 if said else None)
            weights = np.exp(likely - likely.max())
            after.append(abs(weighted_quantile(pool, weights / weights.sum(), 0.5) - fit_h[shop]))
    return float(np.median(after) / np.median(np.abs(np.median(pool) - fit_h[:SHOPS])))


@pytest.mark.slow
def test_how_much_a_scale_tells_hangs_on_the_area() -> None:
    """Ten weighings to 5 g leave under a quarter on a large tree, and could not on a small one."""
    figures = {area: (left(THREE, area), left(TEN["evenly"], area)) for area in (1.0, 0.7, 0.5, 0.3, 0.125)}
    for area, (three, ten) in figures.items():
        print(f"{area} m²: three weighings leave {three:.2f}, ten {ten:.2f}")
    assert figures[1.0][0] < 0.5
    assert figures[1.0][1] < BAR
    assert figures[0.3][1] > BAR


@pytest.mark.slow
def test_no_choice_of_moments_brings_a_small_tree_there() -> None:
    found = {when: left(hours, 0.3) for when, hours in TEN.items()}
    found["evenly, area not said"] = left(TEN["evenly"], 0.3, said=False)
    print("0.3 m²:", ", ".join(f"{one} {share:.2f}" for one, share in found.items()))
    assert min(found.values()) > BAR


@pytest.mark.slow
def test_a_finer_scale_helps_a_small_tree() -> None:
    found = {area: left(TEN["evenly"], area, BENCH) for area in (0.3, 0.125)}
    print("to a gram:", ", ".join(f"{area} m² {share:.2f}" for area, share in found.items()))
    assert found[0.3] < BAR
