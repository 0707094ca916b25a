"""Made-up shops whose truth is known, drawn as the members are but by another seed; run together as lanes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.drying import resampling
from server.drying.drawing import MEMBERS, default_wide_points
from server.drying.ensemble import weighted_quantile
from server.drying.looks import Look, look_at
from server.drying.materials import COOLING_LIMIT_K, Members, coat, fit_limit
from server.drying.priors import members_at
from server.drying.resampling import Cloud
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from tests.drying.shells import SHOP

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

STEP_S = 600.0
NEVER_H = 14 * 24.0
"""What no fit is taken as [h]: the forecast's horizon."""


@dataclass(frozen=True, eq=False)
class Course:
    """A coat over older ones, every ten minutes: what would be met, and when it is fit [h], (lanes,)."""

    looks: Sequence[Look]
    fit_h: Floats

    def at(self, hours: float) -> Look:
        """What would be met so many hours after the dip."""
        return self.looks[round(hours * 3600.0 / STEP_S)]

    def water(self, hours: Sequence[float]) -> Floats:
        """Water in the shell at those hours, (n, lanes)."""
        return np.stack([self.at(hour).water_kg_m2 for hour in hours])


def course(members: Members, code: str, hours: float, second: float | None = None) -> tuple[Course, ...]:
    """A backup coat on two older ones, followed so long [h]; with `second`, another is dipped then."""
    shell = SpotShell.bare(parse_spot(code), 25.0, members=members)
    for _ in range(2):
        shell = shell.dip(coat("backup"))
    shell = shell.at_equilibrium(SHOP.rh_pct).dip(coat("backup"))
    first, shell = _follow(shell, hours)
    if second is None:
        return (first,)
    return first, _follow(shell.dip(coat("backup")), second)[0]


def _follow(shell: SpotShell, hours: float) -> tuple[Course, SpotShell]:
    limit = fit_limit("backup")
    looks = [look_at(shell, SHOP)]
    fit_h, before = (np.full(shell.members.count, value) for value in (np.nan, np.inf))
    for step in range(round(hours * 3600.0 / STEP_S)):
        shell = shell.advance(SHOP, STEP_S)
        looks.append(look_at(shell, SHOP))
        lack = np.log(
            np.maximum(np.maximum(shell.remaining() / limit, shell.cooling_k() / COOLING_LIMIT_K), 1e-9)
        )
        came = np.isnan(fit_h) & (lack <= 0.0)
        if came.any():
            share = np.where(np.isfinite(before), before / np.maximum(before - lack, 1e-12), 1.0)
            fit_h = np.where(came, (step + np.clip(share, 0.0, 1.0)) * STEP_S / 3600.0, fit_h)
        before = lack
    return Course(looks, np.nan_to_num(fit_h, nan=NEVER_H)), shell


def learn_all(
    shops: int,
    active: Bools,
    run: Callable[[Members], Course],
    likelihood: Callable[[int, Sequence[Look]], Floats],
    looked: Callable[[Course], Sequence[Look]],
) -> tuple[Floats, list[Cloud]]:
    """Let every shop learn, round by round together; what its fit times come to by its members, median [h].

    likelihood: of one shop, (M,), from the looks its own members foretell.
    """
    prior = default_wide_points()
    start = Cloud(prior, np.full(len(prior), 1.0 / len(prior)))
    asking = [resampling.rounds(start, active, seed, MEMBERS) for seed in range(shops)]
    points = [next(one) for one in asking]
    clouds: list[Cloud | None] = [None] * shops
    median = np.zeros(shops)
    first = run(members_at(prior))
    while any(cloud is None for cloud in clouds):
        live = [shop for shop in range(shops) if clouds[shop] is None]
        alike = all(np.array_equal(points[shop], prior) for shop in live)
        count = len(points[live[0]])
        found = first if alike else run(members_at(np.concatenate([points[shop] for shop in live])))
        for place, shop in enumerate(live):
            lanes = slice(0, count) if alike else slice(place * count, (place + 1) * count)
            mine = [part(look, lanes) for look in looked(found)]
            try:
                points[shop] = asking[shop].send(likelihood(shop, mine))
            except StopIteration as done:
                clouds[shop] = done.value
                kept = [int((points[shop] == one).all(axis=1).argmax()) for one in done.value.points]
                median[shop] = weighted_quantile(found.fit_h[lanes][kept], done.value.weights, 0.5)
    return median, [cloud for cloud in clouds if cloud is not None]


def part(look: Look, lanes: slice) -> Look:
    """The look of some of the lanes."""
    return Look(look.water_kg_m2[lanes], look.activity[lanes], look.saturation[lanes], look.cooler_k[lanes])
