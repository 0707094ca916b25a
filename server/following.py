"""A tree that is followed: its judge, how it is taken up, and what of it is saved for the next start."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial

from sensors.clock import HOUR_MS, Millis
from server.drying.materials import coat as coat_material
from server.judged_state import StaleStateError, from_blob, state_key, to_blob
from server.judging import TreeJudge
from server.outlooks import Forecast
from server.stays import AirAlong
from server.store import clearings, dips, saved
from server.store.engine import Engine
from server.store.values import Dip, Tree
from server.tree_record import CoatDip, JudgedTree, Mark, mark_of

log = logging.getLogger("slowcorner.rack")

_ARRIVED_BYTES = 8

PATCH_KIND = "backup"
"""A patch is taken to be of backup slurry and stucco, all over its spot and as thick as was said (assumed).

A small patch gives water sideways as well and dries sooner; the shell behind it is taken to have its wax.
"""


@dataclass
class Followed:
    """A tree with its judge, the air along its way, and its latest forecast."""

    tree: Tree
    judge: TreeJudge
    air: AirAlong
    forecast: Forecast | None = None
    saved_marks: list[Mark] = field(default_factory=list)


def judged_tree(tree: Tree) -> JudgedTree:
    """A tree of the store as the judge takes it."""
    return JudgedTree(
        label=tree.label,
        size_mm=tree.size_mm,
        spots=tuple((spot.code, spot.name) for spot in tree.spots),
        coats_in_all=len(tree.recipe.coats),
        rest_ms=round(tree.resting_hours * HOUR_MS),
    )


def coat_dip(tree: Tree, dip: Dip) -> CoatDip:
    """A dip of the store as the judge takes it: its coat is that number of the tree's recipe."""
    coat = tree.recipe.coats[dip.coat - 1]
    material = coat_material(coat.kind, coat.thickness_mm, coat.water_kg_m2)
    return CoatDip(dip.coat, material, dip.at, dip.id, dip.pot, dip.note)


def said_dips(engine: Engine, tree: Tree) -> tuple[CoatDip, ...]:
    """Everything that went on a tree as the judge takes it: its coats, and patches over the last of them."""
    on = [coat_dip(tree, dip) for dip in dips.dips(engine, tree.id)]
    if len(on) < len(tree.recipe.coats):  # coats that were taken back take the patches over them along
        return tuple(on)
    patched = [
        CoatDip(
            number=on[-1].number,
            material=coat_material(PATCH_KIND, patch.thickness_mm),
            at=patch.at,
            dip_id=-patch.id,
            note=patch.where or None,
            spot=patch.spot,
        )
        for patch in clearings.patches(engine, tree.id)
        if patch.undone_at is None and patch.at > on[-1].at
    ]
    return (*on, *patched)


def take_up(engine: Engine, followed: Followed) -> Millis | None:
    """Take a tree up from its saved states; the arrival mark [ms] of those, None if there are none."""
    judge = followed.judge
    mark: Millis | None = None
    newest: Mark | None = None
    for as_of, key, blob in saved.saved_states(engine, followed.tree.id):
        # A reading that changed what an older mark rests on had it replaced: the newest row counts.
        mark = max(mark or 0, int.from_bytes(blob[:_ARRIVED_BYTES], "big"))
        dips_then = tuple(dip for dip in judge.dips if dip.at <= as_of)
        if not dips_then or key != state_key(judge.tree, dips_then, judge.ensemble):
            continue
        newest = Mark(as_of, partial(from_blob, blob[_ARRIVED_BYTES:], dips_then))
        if as_of == dips_then[-1].at:
            judge.marks.append(newest)
    followed.saved_marks = list(judge.marks)
    try:
        judge.state = None if newest is None else newest.state
    except StaleStateError as error:
        log.warning("%s: %s; it is judged from the record again", followed.tree.label, error)
        judge.rewind_to_mark()
    return mark


def save(engine: Engine, moved: Sequence[Followed], arrived: Millis) -> None:
    """Save the latest state of each tree and its new marks; they had heard what came by `arrived` [ms]."""
    heard = arrived.to_bytes(_ARRIVED_BYTES, "big")
    rows = []
    for followed in moved:
        judge = followed.judge
        kept = 0
        for old, new in zip(followed.saved_marks, judge.marks, strict=False):
            if old is not new:
                break
            kept += 1
        fresh = judge.marks[kept:]
        if judge.state is not None and (not judge.marks or judge.state.at != judge.marks[-1].at):
            fresh.append(mark_of(judge.state))
        states = [
            (
                state.at,
                state_key(judge.tree, judge.dips[: len(state.coats)], judge.ensemble),
                heard + to_blob(state),
            )
            for state in (mark.state for mark in fresh)
        ]
        rows.append((followed.tree.id, judge.marks[kept - 1].at if kept else None, states))
        followed.saved_marks = list(judge.marks)
    if rows:
        saved.replace_states(engine, rows)


def needs_forecast(followed: Followed) -> bool:
    """Whether its latest state has no forecast of its own and one would tell something."""
    state = followed.judge.state
    if state is None or len(state.coats) < len(followed.judge.dips):
        return False
    coat = state.coats[-1]
    last = coat.dip.number >= followed.judge.tree.coats_in_all
    settled = coat.through_at if last else coat.fit_at
    made = followed.forecast.made_at if followed.forecast else None
    return made != state.at and (settled is None or made is None)
