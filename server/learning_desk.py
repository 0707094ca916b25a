"""What a place has learned: worked out from its measurements, kept by generations, and forgotten."""

import logging
from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from sensors.air import GAP_LIMIT_MS, PlaceAir
from sensors.bridging import REACH_MS
from sensors.clock import DAY_MS, HOUR_MS, Millis
from server.air_records import UNNAMED_SPEED_M_S, place_air
from server.drying import surface_temp
from server.drying.ensemble import Ensemble
from server.drying.instruments import Instruments
from server.drying.learning import Told
from server.drying.materials import Members
from server.drying.materials import coat as coat_material
from server.drying.priors import Prior
from server.learning_record import MeasuredTree, learn
from server.load_cells import cell_points, hooks
from server.shop_height import pressure_of
from server.shop_instruments import instruments_of
from server.store import clearings, ensembles, measurements, places, readings, trees
from server.store import dips as dip_store
from server.store.engine import Engine
from server.store.values import Dip, Generation, Measurement, Tree
from server.tree_record import CoatDip
from server.usable_readings import usable_readings

log = logging.getLogger("slowcorner.learning")

REMEMBERED_MS = 60 * DAY_MS
"""Measurements older than this, seen from the newest one, no longer count [ms] (assumed: slurry ages)."""


def newest(engine: Engine, place: str, prior: Ensemble) -> Ensemble:
    """What is believed of a place now: its latest generation, or the prior where there is none.

    A generation of another number of members, or of another draw, is left aside until the place learns again.
    """
    kept = ensembles.latest(engine, place)
    if kept is None:
        return prior
    if len(kept.weights) != prior.count or kept.seed != prior.seed:
        return Ensemble(prior.members, prior.weights, kept.generation, prior.seed)
    return Ensemble(members_of(kept), np.array(kept.weights), kept.generation, kept.seed)


def relearn(
    engine: Engine, place: str, prior: Ensemble, priors: tuple[Prior, ...], cause: str, now: Millis
) -> Ensemble:
    """The next generation of a place, from all that was measured since it last forgot; kept, and returned."""
    kept = ensembles.latest(engine, place)
    generation = 1 if kept is None else kept.generation + 1
    measured = [] if cause == "forgotten" else measured_trees(engine, place, now)
    lesson = learn(prior, measured, generation, priors)
    believed = lesson.ensemble
    ensembles.keep_generation(
        engine,
        Generation(
            place=place,
            generation=generation,
            seed=prior.seed,
            cause=cause,
            said_at=now,
            members={item.name: getattr(believed.members, item.name).tolist() for item in fields(Members)},
            weights=tuple(believed.weights.tolist()),
            evidence=lesson.disbelieved,
        ),
    )
    log.info("%s: generation %d from %d measurements", place, generation, len(lesson.disbelieved))
    return believed


def members_of(kept: Generation) -> Members:
    """The members of a generation, to the bit."""
    return Members(**{name: np.array(values, dtype=np.float64) for name, values in kept.members.items()})


def measured_trees(engine: Engine, place: str, now: Millis) -> list[MeasuredTree]:
    """The trees of a place that were measured since it last forgot, on the rack or off it.

    A load cell measures too: its points of the newest coats are among what was told.
    """
    forgotten = max(
        (one.said_at for one in ensembles.generations(engine, place) if one.cause == "forgotten"),
        default=None,
    )
    standing = [
        one
        for one in _before_patches(engine, measurements.place_measurements(engine, place))
        if one.at > now - REMEMBERED_MS and (forgotten is None or one.said_at > forgotten)
    ]
    found = []
    since = max(now - REMEMBERED_MS, -1 if forgotten is None else forgotten)
    by_tree = {one.tree_id: [m for m in standing if m.tree_id == one.tree_id] for one in standing}
    if hooks(engine, place):
        for hung in trees.ever(engine):
            by_tree.setdefault(hung.id, [])
    said = {tree_id: dip_store.dips(engine, tree_id) for tree_id in by_tree}
    weighed = {tree_id: _weighed(engine, place, tree_id, said[tree_id], since, now) for tree_id in by_tree}
    by_tree = {tree_id: mine for tree_id, mine in by_tree.items() if mine or weighed[tree_id]}
    first = min((said[tree_id][0].at for tree_id in by_tree if said[tree_id]), default=now)
    air, by = _air(engine, place, first, now), instruments_of(engine)
    for tree_id, mine in sorted(by_tree.items()):
        tree = trees.tree(engine, tree_id)
        if tree is None or not said[tree_id]:
            continue
        dips = tuple(_coat_dip(tree, dip.coat, dip.at) for dip in said[tree_id])
        told = [(one, _told(one, dips, air, by)) for one in mine]
        good = [(one.at, what) for one, what in told if what is not None] + weighed[tree_id]
        good.sort(key=lambda one: one[0])
        if good:
            found.append(
                MeasuredTree(
                    tree.size_mm,
                    tree.area_m2,
                    dips,
                    air,
                    tuple(what for _, what in good),
                    tuple(at for at, _ in good),
                )
            )
    return found


def _before_patches(engine: Engine, said: Sequence[Measurement]) -> list[Measurement]:
    """Those made before their tree was patched: what a patch brings is too little known to learn by."""
    patched = {
        tree_id: min(
            (one.at for one in clearings.patches(engine, tree_id) if one.undone_at is None), default=None
        )
        for tree_id in {one.tree_id for one in said}
    }
    return [one for one in said if (first := patched[one.tree_id]) is None or one.at < first]


def _weighed(
    engine: Engine, place: str, tree_id: int, said: Sequence[Dip], since: Millis, now: Millis
) -> list[tuple[Millis, Told]]:
    """The points of the load cell under a tree, of later than a moment [ms]."""
    tree = trees.tree(engine, tree_id)
    if tree is None or not said or said[-1].at < since - DAY_MS:
        return []
    dips = tuple(_coat_dip(tree, dip.coat, dip.at) for dip in said)
    return [(at, told) for at, told in cell_points(engine, tree, dips, place, now) if at > since]


def _told(one: Measurement, dips: Sequence[CoatDip], air: PlaceAir, by: Instruments) -> Told | None:
    """A measurement as the model takes it; None where the record cannot place it (its dip was undone)."""
    coat = sum(1 for dip in dips if dip.at <= one.at)
    if coat == 0:
        return None
    if one.kind == "weighing":
        return Told(one.id, one.kind, "face", coat, one.value or 0.0, by.weighing_kg)
    spot = one.spot or ""
    if one.kind != "surface_temp":
        return Told(one.id, one.kind, spot, coat, word=one.word or "")
    value = one.value or 0.0
    if one.reference_c is not None:
        return Told(one.id, one.kind, spot, coat, one.reference_c - value, by.difference_k)
    latest = air.mean(one.at - HOUR_MS // 3, one.at)
    if latest is None:
        return None
    return Told(one.id, one.kind, spot, coat, float(latest.temp_c) - value, surface_temp.ERROR_TO_AIR_K)


def _coat_dip(tree: Tree, number: int, at: Millis) -> CoatDip:
    coat = tree.recipe.coats[number - 1]
    return CoatDip(number, coat_material(coat.kind, coat.thickness_mm, coat.water_kg_m2), at)


def _air(engine: Engine, place: str, start: Millis, end: Millis) -> PlaceAir:
    kept = places.place(engine, place)
    speed = UNNAMED_SPEED_M_S if kept is None else kept.speed_m_s
    air = place_air(engine, place, speed, pressure_pa=pressure_of(engine))
    # As far back as the live rack reads, so that the same nodes are believed and gaps are bridged alike.
    said = readings.place_readings(engine, place, start - GAP_LIMIT_MS - REACH_MS, end + HOUR_MS)
    air.add(usable_readings(engine, place).of(said))
    return air
