"""The check before burnout, gathered from the record: coats as they went, what is left, what was answered."""

import logging
from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Protocol

from pydantic import ValidationError

from scheduler.forecast import NEVER
from sensors.clock import MINUTE_MS, Clock, Millis
from server.burnout import PACKED, QUESTIONS, ShellRecord, SpotWater, Weighed, find
from server.burnout_check import SHEET, Answer, BurnoutCheck, CoatWent, ShellFigures
from server.coat_book import coat_of
from server.dry_rules import dry_limit_of
from server.drying.materials import DRY_KG_M2_MM, coat
from server.drying.spots import CavitySpot, SpotError, parse_spot
from server.pages.wording import per_cent
from server.store import castings, clearings, measurements, trees
from server.store import dips as dip_store
from server.store.clearings import Answered, Clearing, Patch
from server.store.engine import Engine, UnknownError
from server.store.values import Tree, TreeSpot
from server.verdicts import CoatVerdict, Rack, TreeVerdict

log = logging.getLogger("slowcorner.rack")

OTHERWISE = 2.0
"""A coat is said to be judged otherwise now where what remained differs by more than this factor [-]."""


class Record(Protocol):
    """What the check is gathered from: the store, the judged rack, the shop's clock."""

    @property
    def engine(self) -> Engine:
        """The store."""
        ...

    @property
    def rack(self) -> Rack:
        """The verdicts."""
        ...

    @property
    def clock(self) -> Clock:
        """The shop's time."""
        ...


def check_of(parts: Record, tree_id: int) -> BurnoutCheck:
    """The check of a tree as it stands; of a cleared one as it was then. Raises UnknownError."""
    tree = trees.tree(parts.engine, tree_id)
    if tree is None:
        raise UnknownError(f"there is no tree {tree_id}")
    standing = standing_clearing(parts, tree)
    if standing is not None:
        try:
            return SHEET.validate_python(standing.sheet)
        except ValidationError as error:
            # Written by another version: what stands in the record is told instead.
            log.warning("%s: its check of %d cannot be read: %s", tree.label, standing.at, error)
    return gathered(parts, tree)


def standing_clearing(parts: Record, tree: Tree) -> Clearing | None:
    """The clearing by which a tree is off the rack; None where it is not cleared."""
    if tree.left != "cleared":
        return None
    found = [one for one in clearings.clearings(parts.engine, tree.id) if one.reopened_at is None]
    return found[-1] if found else None


def coats_of(parts: Record, tree: Tree, verdict: TreeVerdict | None) -> tuple[CoatWent, ...]:
    """Every coat and patch of a tree, in order: as written down at the time, else as judged now."""
    kept = {one.at: one for one in castings.kept_coats(parts.engine, tree.id)}
    said = {dip.at: dip for dip in dip_store.dips(parts.engine, tree.id)}
    patched = [one.at for one in clearings.patches(parts.engine, tree.id) if one.undone_at is None]
    now = {coat.dipped_at: coat for coat in (verdict.coats if verdict else ())}
    times = sorted({*said, *patched})
    found = []
    for at, until in zip_longest(times, times[1:]):
        one, dip, judged = kept.get(at), said.get(at), now.get(at)
        # The last one goes on; what was kept of it when the tree was cleared holds while it is off the rack.
        usable = one is not None and (until is not None or judged is None)
        told = coat_of(one) if one is not None and usable else judged
        if told is None:
            continue
        found.append(
            CoatWent(
                told,
                until,
                dip.prewet if dip else False,
                dip.partial if dip else False,
                one.kept_at if one is not None and usable else None,
                _later(told, judged) if judged is not None and usable else "",
            )
        )
    return tuple(found)


def _later(then: CoatVerdict, now: CoatVerdict) -> str:
    """What is judged of a coat now, where it is another thing than was written down."""
    if then.damp_at_next is None or now.damp_at_next is None:
        return ""
    was_fit, is_fit = then.fit_at.p90 is not None, now.fit_at.p90 is not None
    low, high = sorted((then.damp_at_next, now.damp_at_next))
    if was_fit == is_fit and high <= OTHERWISE * low + 0.02:
        return ""
    fit = "fit" if is_fit else "not fit"
    return f"By what is believed and known now it was {fit} then, with {per_cent(now.damp_at_next)} left."


def gathered(parts: Record, tree: Tree) -> BurnoutCheck:
    """The check of a tree from the record as it stands."""
    verdict = None if tree.left else parts.rack.tree(tree.id)
    outlook = verdict.outlook if verdict else None
    on = dip_store.dips(parts.engine, tree.id)
    patches = tuple(one for one in clearings.patches(parts.engine, tree.id) if one.undone_at is None)
    last_at = max((*(dip.at for dip in on), *(patch.at for patch in patches)), default=None)
    said = clearings.answers(parts.engine, tree.id)
    limit = dry_limit_of(parts.engine)
    since = _answers_count_from(parts, tree.id, patches)
    newest = {one.question: one for one in said if one.question.startswith(PACKED) or one.at > since}
    spots = tuple(_spot_water(spot.code, spot.name, verdict, newest, limit) for spot in tree.spots)
    weighed = tuple(
        Weighed(one.at, one.value)
        for one in measurements.measurements(parts.engine, tree.id)
        if one.kind == "weighing" and one.undone_at is None and one.value is not None
    )
    coats = coats_of(parts, tree, verdict)
    complete = len(on) >= len(tree.recipe.coats)
    record = ShellRecord(
        coats_on=len(on),
        coats_in_all=len(tree.recipe.coats),
        state=outlook.state if outlook else None,
        spots=spots,
        last_at=last_at,
        rested=verdict.rested if verdict else 0,
        rest=verdict.rest if verdict else 0,
        dry_at=outlook.fit_at if outlook and complete else NEVER,
        weighings=tuple(one for one in weighed if last_at is not None and one.at >= last_at),
        remarks=_remarks(coats),
        air_reason=outlook.reason if outlook else f"It was {tree.left}." if tree.left else "",
    )
    return BurnoutCheck(
        tree_id=tree.id,
        label=tree.label,
        hook=tree.hook,
        place=tree.place,
        recipe=tree.recipe.name,
        coats_on=len(on),
        coats_in_all=len(tree.recipe.coats),
        as_of=parts.clock.now(),
        finding=find(record),
        spots=spots,
        coats=coats,
        figures=_figures(tree, len(on), spots, weighed),
        last_at=last_at,
        rested=record.rested,
        rest=record.rest,
        weighings=weighed,
        patches=patches,
        ticks=tuple(_answered(key, words, newest) for key, words in QUESTIONS.items()),
        packed=tuple(
            _answered(PACKED + spot.code, f"Is the {spot.name} packed with core material?", newest)
            for spot in hollows(tree)
        ),
        notes=_notes(patches),
    )


def _answers_count_from(parts: Record, tree_id: int, patches: Sequence[Patch]) -> Millis:
    """From when on ticks count [ms]: a tree that was reopened or patched is looked at anew."""
    back = [
        one.reopened_at for one in clearings.clearings(parts.engine, tree_id) if one.reopened_at is not None
    ]
    return max((*back, *(one.said_at for one in patches)), default=0)


def _notes(patches: Sequence[Patch]) -> tuple[str, ...]:
    return tuple(
        f"The patch {patch.where or 'on ' + patch.spot} is taken to be {patch.thickness_mm:g} mm of backup "
        "slurry and stucco all over that spot, with the wax still behind it (assumed): a small one gives "
        "water sideways too and dries sooner."
        for patch in patches
    )


def _remarks(coats: Sequence[CoatWent]) -> tuple[str, ...]:
    """What in a tree's history a person should weigh: coats over damp ones, and air that was not known."""
    found = []
    damp = [
        (went.verdict.damp_at_next, went.verdict.number)
        for went in coats
        if went.verdict.damp_at_next is not None and went.verdict.fit_at.p90 is None
    ]
    if damp:
        most, number = max(damp)
        numbers = ", ".join(str(one) for _, one in damp)
        found.append(
            f"Dipped over before it was fit: coat {numbers}; "
            f"most on coat {number}, with {per_cent(most)} left. That water is counted in what is left now."
        )
    gaps = [(end - start, went.verdict.number) for went in coats for start, end in went.verdict.gaps]
    if gaps:
        numbers = ", ".join(str(one) for one in sorted({number for _, number in gaps}))
        minutes = sum(length for length, _ in gaps) // MINUTE_MS
        found.append(
            f"The air was not known for {minutes} min in all, while coat {numbers} dried: the worst of those "
            "hours in the days before was assumed, or no drying at all."
        )
    return tuple(found)


def hollows(tree: Tree) -> list[TreeSpot]:
    """The hollows of a tree that are coated inside."""
    found = []
    for spot in tree.spots:
        try:
            hollow = isinstance(parse_spot(spot.code), CavitySpot)
        except SpotError:
            hollow = False
        if hollow:
            found.append(spot)
    return found


def _spot_water(
    code: str, name: str, verdict: TreeVerdict | None, newest: Mapping[str, Answered], limit: float
) -> SpotWater:
    judged = next((spot for spot in verdict.spots if spot.code == code), None) if verdict else None
    packed: bool | None = False
    if code.startswith("cavity:"):
        said = newest.get(PACKED + code)
        packed = None if said is None else said.yes
    over, mean = (judged.over_dry, judged.over_dry_mean) if judged else (None, None)
    return SpotWater(code, name, over, mean, limit, packed)


def _answered(key: str, words: str, newest: Mapping[str, Answered]) -> Answer:
    said = newest.get(key)
    return Answer(key, words) if said is None else Answer(key, words, said.yes, said.who, said.at)


def _figures(tree: Tree, on: int, spots: Sequence[SpotWater], weighed: Sequence[Weighed]) -> ShellFigures:
    coats = [coat(one.kind, one.thickness_mm, one.water_kg_m2) for one in tree.recipe.coats[:on]]
    thickness = 1000.0 * sum(one.thickness_m for one in coats)
    dry_kg_m2 = sum(one.dry_kg_m2 for one in coats)
    area, wax = tree.area_m2, tree.wax_kg
    mean = next((spot.mean for spot in spots if spot.code == "face" and spot.mean is not None), None)
    mass = None if area is None else area * dry_kg_m2
    scale = None if wax is None or not weighed else weighed[-1].kg - wax
    lacking = [
        words
        for words, there in (
            ("the tree's area", area is not None),
            ("the mass of its wax", wax is not None),
            ("a weighing", bool(weighed)),
        )
        if not there
    ]
    return ShellFigures(
        thickness_mm=thickness,
        mass_kg=mass,
        water_kg=None if mass is None or mean is None else mean * mass,
        scale_kg=scale,
        scale_mm=None if scale is None or area is None else scale / (area * DRY_KG_M2_MM),
        missing="" if not lacking else f"Not known: {', '.join(lacking)}.",
    )
