"""What each member says would have been measured: trees gone through their record of air and dips again."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sensors.air import BLOCK_MS, Air, PlaceAir
from sensors.bridging import worst_air
from sensors.clock import SECOND_MS, Millis
from server.drying import learning, resampling
from server.drying.drawing import MOST_MEMBERS, wide_points
from server.drying.ensemble import Ensemble
from server.drying.learning import Told
from server.drying.looks import Look, look_at
from server.drying.materials import Members
from server.drying.priors import PRIORS, Prior, members_at, names, points_of
from server.drying.resampling import Cloud
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.transfer import LOWEST_TEMP_C, covers
from server.tree_record import CoatDip

Floats = NDArray[np.float64]

COATS_BEFORE = 2
"""Coats gone through before the first one that was measured; the older ones are taken as dry as their air."""

WIDER = 8
"""Points that the first round weighs, for each member that is kept, where little was measured yet."""

WIDE_COATS = 768
"""Points times coats gone through in the first round, so far as it is wider than what is kept: half a minute
of one core at a joint (measured). Where more was measured, jitter finds what a narrower draw leaves out."""


@dataclass(frozen=True)
class MeasuredTree:
    """A tree with what was measured on it: `told`, each at its time in `at` [ms], by time."""

    size_mm: float
    area_m2: float | None
    dips: tuple[CoatDip, ...]
    air: PlaceAir
    told: tuple[Told, ...]
    at: tuple[Millis, ...]


@dataclass(frozen=True, eq=False)
class Lesson:
    """What was learned at a place: its members now, and how far each measurement is disbelieved [-]."""

    ensemble: Ensemble
    points: Floats
    disbelieved: tuple[tuple[int, float], ...]
    rounds: int


def learn(
    prior: Ensemble,
    trees: Sequence[MeasuredTree],
    generation: int,
    priors: tuple[Prior, ...] = PRIORS,
) -> Lesson:
    """Learn from all that was measured at a place, beginning with what was believed before any of it.

    That is the prior's own draw, but a wider one than is judged by, see `width`.

    The same trees, records and measurements give the same members to the bit. With one member there is
    nothing to choose from, and nothing is learned.
    """
    trees = [tree for tree in trees if tree.told]
    if not trees or prior.count == 1:
        return Lesson(_again(prior, generation), points_of(prior.members, priors), (), 0)
    wide = wide_points(width(prior.count, trees), prior.seed, priors)
    start = Cloud(wide, np.full(len(wide), 1.0 / len(wide)))
    members = members_at(wide, priors)
    on = [
        (one.spot, [dip.material.kind for dip in tree.dips[: one.coat]])
        for tree in trees
        for one in tree.told
    ]
    active = learning.axes_told_of(on, names(priors))
    first: list[tuple[Look, ...]] = [looks(tree, members) for tree in trees]
    disbelieved = [
        (one.number, share)
        for tree, seen in zip(trees, first, strict=True)
        for one, share in zip(
            tree.told, learning.disbelief(tree.told, seen, start.weights, tree.area_m2), strict=True
        )
    ]

    def likely(tree: MeasuredTree, seen: Sequence[Look]) -> Floats:
        return learning.log_likelihood(tree.told, seen, tree.area_m2)

    asking = resampling.rounds(start, active, prior.seed * 1009 + generation, prior.count)
    next(asking)
    answer = np.sum([likely(tree, seen) for tree, seen in zip(trees, first, strict=True)], axis=0)
    while True:
        try:
            members = members_at(asking.send(answer), priors)
        except StopIteration as done:
            cloud: Cloud = done.value
            return Lesson(
                Ensemble(members_at(cloud.points, priors), cloud.weights, generation, prior.seed),
                cloud.points,
                tuple(disbelieved),
                cloud.rounds,
            )
        answer = np.sum([likely(tree, looks(tree, members)) for tree in trees], axis=0)


def width(count: int, trees: Sequence[MeasuredTree]) -> int:
    """How many points the first round weighs, where so many members are kept."""
    coats = 0
    for tree in trees:
        for spot in {one.spot for one in tree.told}:
            on = [one.coat for one in tree.told if one.spot == spot]
            coats += max(on) - max(min(on) - 1 - COATS_BEFORE, 0)
    return max(count, min(WIDER * count, MOST_MEMBERS, WIDE_COATS // coats))


def looks(tree: MeasuredTree, members: Members) -> tuple[Look, ...]:
    """What each member says would have been met, one look for each measurement."""
    found: dict[int, Look] = {}
    for spot in dict.fromkeys(one.spot for one in tree.told):
        mine = [index for index, one in enumerate(tree.told) if one.spot == spot]
        shell = SpotShell.bare(parse_spot(spot), tree.size_mm, members=members)
        for index, look in zip(mine, _walk(tree, shell, [tree.at[index] for index in mine]), strict=True):
            found[index] = look
    return tuple(found[index] for index in range(len(tree.told)))


def _walk(tree: MeasuredTree, shell: SpotShell, moments: Sequence[Millis]) -> list[Look]:
    """A spot from its first coats on, looked at in these moments [ms], which rise."""
    dips = [dip for dip in tree.dips if dip.at <= moments[-1]]
    measured = sum(1 for dip in dips if dip.at <= moments[0])
    skipped = max(measured - 1 - COATS_BEFORE, 0)
    for dip in dips[:skipped]:
        shell = shell.dip(dip.material)
    if skipped:
        air = tree.air.mean(*_block(dips[skipped].at))
        shell = shell.at_equilibrium(60.0 if air is None else float(air.rh_pct))
    found: list[Look] = []
    at, waiting = dips[skipped].at, dips[skipped:]
    shell, waiting = shell.dip(waiting[0].material), waiting[1:]
    now: Air | None = None
    for moment in moments:
        while at < moment:
            end = min((at // BLOCK_MS + 1) * BLOCK_MS, moment, *(dip.at for dip in waiting[:1]))
            now = _air(tree.air, at, now)
            shell = shell.advance(now, (end - at) / SECOND_MS)
            at = end
            while waiting and waiting[0].at <= at:
                shell, waiting = shell.dip(waiting[0].material), waiting[1:]
        found.append(look_at(shell, now))
    return found


def _air(record: PlaceAir, at: Millis, before: Air | None) -> Air | None:
    """The air of the block a moment lies in; the latest goes on where that block is not known yet."""
    known = record.known_until()
    if known is not None and known < _block(at)[1] and at - known < BLOCK_MS:
        return before
    found = record.mean(*_block(at))
    if found is not None and covers(found):
        return found
    # As the judge does in a gap, so that what is learned and what is judged are of one air.
    return worst_air(record, *_block(at), LOWEST_TEMP_C)


def _block(time: Millis) -> tuple[Millis, Millis]:
    """The block a time lies in: the air of a measurement does not wait for what comes after its block."""
    start = time // BLOCK_MS * BLOCK_MS
    return start, start + BLOCK_MS


def _again(prior: Ensemble, generation: int) -> Ensemble:
    return Ensemble(prior.members, prior.weights, generation, prior.seed)
