"""Learning by weights: members that foretold what was measured count for more, and breed.

A member is a point of a space in which its prior is a standard normal, one axis a parameter. The likelihood
is let in by degrees: as much at a time as leaves half of the members in effect. Then members are drawn anew
by their weights, moved a little (Liu & West's kernel, in Doucet, de Freitas & Gordon, Sequential Monte Carlo
Methods in Practice, 2001, chapter 10, from memory: shrunk towards the mean by as much as the jitter widens,
so that mean and covariance stay), and reckoned anew from the record.
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


def bred(points: Floats, weights: Floats, rng: np.random.Generator, jitter: float = JITTER) -> Floats:
    """Members drawn anew by their weights and moved a little; mean and covariance stay as they were."""
    mean = weights @ points
    off = points - mean
    drawn = points[systematic(weights, rng)]
    # Sums of the members' own differences with normal factors have the members' covariance.
    moves = rng.standard_normal((weights.size, weights.size)) @ (np.sqrt(weights)[:, None] * off)
    return np.asarray(mean + np.sqrt(1.0 - jitter**2) * (drawn - mean) + jitter * moves)


def rounds(prior: Cloud, active: NDArray[np.bool_], seed: int) -> Generator[Floats, Floats, Cloud]:
    """Learn in rounds: yields points (M, P), wants their log likelihood (M,) sent back, returns the members.

    active: (P,) the parameters that what was measured can tell anything of; the others stay as they are.
    The same seed and the same likelihoods give the same members.
    """
    rng = np.random.default_rng(seed)
    points, weights, let_in = prior.points.copy(), prior.weights, 0.0
    least = KEPT_SHARE * weights.size
    for number in range(MOST_ROUNDS):
        likelihood = yield points
        if not np.isfinite(likelihood.max()):
            return Cloud(points, weights, number)
        likelihood = likelihood - likelihood.max()
        left = 1.0 - let_in
        share = left if number == MOST_ROUNDS - 1 else share_let_in(weights, likelihood, left, least)
        weights = reweighted(weights, share * likelihood)
        let_in += share
        if let_in >= 1.0 - 1e-12:
            return Cloud(points, weights, number)
        points = points.copy()
        points[:, active] = bred(points[:, active], weights, rng)
        weights = np.full(weights.size, 1.0 / weights.size)
    raise AssertionError("the last round lets all of it in")


def learn(
    prior: Cloud, active: NDArray[np.bool_], seed: int, log_likelihood: Callable[[Floats], Floats]
) -> Cloud:
    """As `rounds`, with the likelihood as a function of points (M, P)."""
    asking = rounds(prior, active, seed)
    points = next(asking)
    while True:
        try:
            points = asking.send(log_likelihood(points))
        except StopIteration as done:
            cloud: Cloud = done.value
            return cloud
