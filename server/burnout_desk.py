"""What people say at the check before burnout: answers, clearing, taking that back, patches."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sensors.clock import DAY_MS, MINUTE_MS, Millis, format_time
from server.burnout import PACKED, QUESTIONS, why_not_cleared
from server.burnout_check import SHEET
from server.burnout_record import gathered, hollows
from server.coat_book import coats_over
from server.dip_desk import known_tree
from server.parts import Parts
from server.store import castings, clearings
from server.store import dips as dip_store
from server.store.clearings import Clearing, NewPatch
from server.store.engine import RefusedError
from server.store.values import Dip, Tree

THINNEST_MM, THICKEST_MM = 0.2, 10.0
"""What a patch may be thick [mm]; the thickest is the model's own limit of a coat."""

WIDEST_MM = 500.0
OLDEST_MS = 7 * DAY_MS
"""How long ago a patch may be said to have gone on [ms]."""


class ClearingError(ValueError):
    """A clearing or a patch that cannot be as it was said; the message says why and what would do."""


@dataclass(frozen=True)
class SaidClearing:
    """What a person says to clear a tree; `ticked` are keys of questions, answered with yes as well."""

    who: str
    why: str = ""
    ticked: tuple[str, ...] = ()


def answer(parts: Parts, tree_id: int, said: Mapping[str, bool], who: str) -> None:
    """Keep what was answered. Raises UnknownError, RefusedError off the rack, or ClearingError."""
    tree = known_tree(parts, tree_id)
    known = [*QUESTIONS, *(PACKED + spot.code for spot in hollows(tree))]
    for key in said:
        if key not in known:
            raise ClearingError(f"question {key!r} is none of {tree.label}'s: {', '.join(known)}")
    clearings.add_answers(parts.engine, tree_id, dict(said), who, parts.clock.now())


def clear(parts: Parts, tree_id: int, said: SaidClearing) -> Clearing:
    """Clear a tree for burnout: a person's act, with the check as it stands. It leaves the rack.

    Raises UnknownError, RefusedError where it is off the rack, ClearingError where a reason is wanting.
    """
    with parts.one_dip_at_a_time:
        tree = known_tree(parts, tree_id)
        if tree.left:
            raise RefusedError(f"{tree.label} cannot be cleared: it was {tree.left} and is off the rack")
        if said.ticked:
            answer(parts, tree_id, dict.fromkeys(said.ticked, True), said.who)
        check = gathered(parts, tree)
        unticked = [one.key for one in check.ticks if not one.yes]
        wanting = why_not_cleared(check.finding, unticked, said.why)
        if wanting:
            raise ClearingError(f"{tree.label}: {wanting}")
        now = parts.clock.now()
        verdict = parts.rack.tree(tree_id)
        if verdict is not None:
            castings.keep_coats(parts.engine, coats_over(verdict, now, until=now))
        cleared = clearings.clear(
            parts.engine,
            tree_id,
            said.who,
            said.why,
            check.finding.answer,
            SHEET.dump_python(check, mode="json"),
            now,
        )
    parts.rack.refresh(tree_id)
    return cleared


def reopen(parts: Parts, tree_id: int, who: str, why: str, patch: NewPatch | None = None) -> Clearing:
    """Take a clearing back, for a patch or because it was wrong; it is judged again from its record.

    Raises UnknownError, RefusedError where it is not cleared, ClearingError for a patch that cannot be.
    """
    with parts.one_dip_at_a_time:
        tree, now = known_tree(parts, tree_id), parts.clock.now()
        if patch is not None:
            _check_patch(tree, patch, now, dip_store.dips(parts.engine, tree_id))
        reopened = clearings.reopen(parts.engine, tree_id, who, why, now, patch)
    parts.rack.refresh(tree_id)
    return reopened


def say_patch(parts: Parts, tree_id: int, who: str, patch: NewPatch) -> None:
    """Keep a patch on a tree that has all its coats and is not cleared. Raises as `reopen` does."""
    with parts.one_dip_at_a_time:
        tree, now = known_tree(parts, tree_id), parts.clock.now()
        _check_patch(tree, patch, now, dip_store.dips(parts.engine, tree_id))
        clearings.add_patch(parts.engine, tree_id, patch, who, now)
    parts.rack.refresh(tree_id)


def undo_patch(parts: Parts, tree_id: int, patch_id: int) -> None:
    """Take a patch back. Raises UnknownError or RefusedError."""
    clearings.undo_patch(parts.engine, tree_id, patch_id, parts.clock.now())
    parts.rack.refresh(tree_id)


def _check_patch(tree: Tree, patch: NewPatch, now: Millis, on: Sequence[Dip]) -> None:
    codes = [spot.code for spot in tree.spots]
    if patch.spot not in codes:
        raise ClearingError(f"spot {patch.spot!r} is none of {tree.label}'s: {', '.join(codes)}")
    if not THINNEST_MM <= patch.thickness_mm <= THICKEST_MM:
        limits = f"{THINNEST_MM:g} to {THICKEST_MM:g} mm"
        raise ClearingError(f"a patch {patch.thickness_mm:g} mm thick is outside {limits}")
    if patch.size_mm is not None and not 1.0 <= patch.size_mm <= WIDEST_MM:
        raise ClearingError(f"a patch {patch.size_mm:g} mm wide is outside 1 to {WIDEST_MM:g} mm")
    if len(on) < len(tree.recipe.coats):
        raise ClearingError(
            f"{tree.label} has {len(on)} of {len(tree.recipe.coats)} coats: "
            "a patch is judged over the last one"
        )
    if not max(on[-1].at + MINUTE_MS, now - OLDEST_MS) <= patch.at <= now + MINUTE_MS:
        raise ClearingError(
            f"a patch at {format_time(patch.at)} is not after the last coat, within the last "
            f"{OLDEST_MS // DAY_MS} days and before the shop's time {format_time(now)}"
        )
