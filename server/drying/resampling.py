"""Learning by weights: members that foretold what was measured count for more, and breed.

A member is a point of a space in which its prior is a standard normal, one axis a parameter. The likelihood
is let in by degrees: as much at a time as leaves half of the members in effect. Then members are drawn anew
by their weights, moved a little (Liu & West's kernel, in Doucet, de Freitas & Gordon, Sequential Monte Carlo
Methods in Practice, 2001, chapter 10, from memory: shrunk towards the mean by as much as the jitter widens,
so that mean and covariance stay), and reckoned anew from the record.

The first round may weigh a wider draw than is kept: a joint that few members come near is then foretold by
the points that do come near it, and not by jitter about the one or two that were nearest.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KEPT_SHARE = 0.5
"""Members are drawn anew where fewer than this share of them would be left in effect [-]."""

JITTER = 0.45
"""Standard deviation of the move of a member drawn anew over that of all of them [-] (assumed)."""

MOST_ROUNDS = 12
"""After so many rounds what is left of the likelihood is let in at once."""


@dataclass(frozen=True, eq=False)
class Cloud:
    """Members as points (M, P) and their weights (M,), which sum to 1. `rounds` were needed to come to it."""

    points: Floats
    weights: Floats
    rounds: int = 0

    @property
    def effective(self) -> float:
        """How many members of equal weight would tell as much."""
        return effective_size(self.weights)


def effective_size(weights: Floats) -> float:
    """How many members of equal weight tell as much as these, 1/Σw² of weights that sum to 1 [-].

    >>> effective_size(np.array([0.5, 0.5, 0.0]))
    2.0
    """
    return float(1.0 / np.square(weights / weights.sum()).sum())


def reweighted(weights: Floats, log_likelihood: Floats) -> Floats:
    """Weights times likelihood, sum 1. A member with no likelihood at all (−inf) gets no weight.

    >>> reweighted(np.array([0.5, 0.5]), np.array([0.0, -np.inf])).tolist()
    [1.0, 0.0]
    """
    with np.errstate(divide="ignore"):
        logs = np.log(weights) + log_likelihood
    raised = np.exp(logs - logs.max())
    return np.asarray(raised / raised.sum())


def share_let_in(weights: Floats, log_likelihood: Floats, left: float, least: float) -> float:
    """The largest share of a likelihood, at most `left`, that leaves `least` members in effect [-]."""
    if effective_size(reweighted(weights, left * log_likelihood)) >= least:
        return left
    low, high = 0.0, left
    for _ in range(40):
        middle = 0.5 * (low + high)
        if effective_size(reweighted(weights, middle * log_likelihood)) >= least:
            low = middle
        else:
            high = middle
    return low


def systematic(weights: Floats, rng: np.random.Generator) -> Ints:
    """Members drawn by their weights, as evenly as can be: each as often as its weight says, or once more."""
    count = weights.size
    marks = (np.arange(count) + rng.random()) / count
    edges = np.cumsum(weights)
    edges[-1] = 1.0
    return np.searchsorted(edges, marks).astype(np.int64)


def picked(weights: Floats, count: int, rng: np.random.Generator) -> tuple[Ints, Floats]:
    """So many different ones of a wide draw, and their weights, which sum to 1; all of it if it is no wider.

    Those that weigh more than a share c stay with their weight; of the others some are drawn by theirs and
    weigh c each, where c leaves `count` in all (Fearnhead & Clifford, Journal of the Royal Statistical
    Society B 65, 2003, from memory). Every weight stays as it was on average, and none is there twice.

    >>> picked(np.array([0.4, 0.6, 0.0]), 2, np.random.default_rng(1))[0].tolist()
    [0, 1]
    """
    chosen = np.arange(weights.size)
    if weights.size <= count:
        return chosen, weights
    chosen = chosen[weights > 0.0]
    if chosen.size > count:
        heavy, share = _heavy(weights, count)
        others = np.setdiff1d(chosen, heavy)
        marks = (np.arange(count - heavy.size) + rng.random()) * share
        at = np.searchsorted(np.cumsum(weights[others]), marks).clip(max=others.size - 1)
        kept = np.concatenate([weights[heavy], np.full(at.size, share)])
        chosen = np.concatenate([heavy, others[at]])
        order = np.argsort(chosen)
        return chosen[order].astype(np.int64), kept[order] / kept.sum()
    # Fewer weigh anything than are to be kept: the rest is filled up with some that weigh nothing.
    idle = np.flatnonzero(weights <= 0.0)[: count - chosen.size]
    chosen = np.sort(np.concatenate([chosen, idle]))
    return chosen.astype(np.int64), weights[chosen] / weights[chosen].sum()


def _heavy(weights: Floats, count: int) -> tuple[Ints, float]:
    """Which weigh more than the share that each of the others is to have, and that share."""
    order = np.argsort(-weights, kind="stable")
    left = 1.0 - np.concatenate([[0.0], np.cumsum(weights[order])])
    for heavy in range(count):
        share = left[heavy] / (count - heavy)
        if weights[order[heavy]] <= share:
            return order[:heavy].astype(np.int64), float(share)
    raise AssertionError(
        "more than `count` weigh something, so that the last of them weighs at most what is left"
    )


def bred(points: Floats, weights: Floats, rng: np.random.Generator, jitter: float = JITTER) -> Floats:
    """Members drawn anew by their weights and moved a little; mean and covariance stay as they were."""
    mean = weights @ points
    off = points - mean
    drawn = points[systematic(weights, rng)]
    # Sums of the members' own differences with normal factors have the members' covariance.
    moves = rng.standard_normal((weights.size, weights.size)) @ (np.sqrt(weights)[:, None] * off)
    return np.asarray(mean + np.sqrt(1.0 - jitter**2) * (drawn - mean) + jitter * moves)


def rounds(
    prior: Cloud, active: NDArray[np.bool_], seed: int, kept: int | None = None
) -> Generator[Floats, Floats, Cloud]:
    """Learn in rounds: yields points (M, P), wants their log likelihood (M,) sent back, returns the members.

    kept: so many are returned, and gone through in all rounds but the first; all unless said.
    active: (P,) the parameters that what was measured can tell anything of; the others stay as they are.
    The same seed and the same likelihoods give the same members.
    """
    rng = np.random.default_rng(seed)
    points, weights, let_in = prior.points.copy(), prior.weights, 0.0
    count = weights.size if kept is None else kept
    least = KEPT_SHARE * count
    for number in range(MOST_ROUNDS):
        likelihood = yield points
        if not np.isfinite(likelihood.max()):
            chosen, weights = picked(weights, count, rng)
            return Cloud(points[chosen], weights, number)
        likelihood = likelihood - likelihood.max()
        left = 1.0 - let_in
        share = left if number == MOST_ROUNDS - 1 else share_let_in(weights, likelihood, left, least)
        weights = reweighted(weights, share * likelihood)
        let_in += share
        chosen, weights = picked(weights, count, rng)
        points = points[chosen]
        if let_in >= 1.0 - 1e-12:
            return Cloud(points, weights, number)
        points[:, active] = bred(points[:, active], weights, rng)
        weights = np.full(weights.size, 1.0 / weights.size)
    raise AssertionError("the last round lets all of it in")


def learn(
    prior: Cloud,
    active: NDArray[np.bool_],
    seed: int,
    log_likelihood: Callable[[Floats], Floats],
    kept: int | None = None,
) -> Cloud:
    """As `rounds`, with the likelihood as a function of points (M, P)."""
    asking = rounds(prior, active, seed, kept)
    points = next(asking)
    while True:
        try:
            points = asking.send(log_likelihood(points))
        except StopIteration as done:
            cloud: Cloud = done.value
            return cloud
