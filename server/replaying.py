"""Runs a record of air and dips through the judge the service uses, as fast as it goes."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from scheduler.forecast import NEVER
from sensors.air import PlaceAir
from sensors.clock import DAY_MS, SECOND_MS, Millis, format_time
from sensors.reading import Reading
from server.coat_verdicts import coat_verdicts
from server.drying.ensemble import ALONE, Ensemble
from server.drying.learning import Told
from server.drying.materials import coat as coat_material
from server.drying.spots import parse_spot
from server.judging import TreeJudge
from server.replay_learning import Lessons, ReplayedTree
from server.tree_record import CoatDip, JudgedTree
from server.verdicts import CoatVerdict

STILL_AIR_M_S = 0.1
"""The air's speed where the file does not say: a room with no fan; assumed."""


class CoatsFileError(Exception):
    """A file of coats that cannot be replayed; the message names the file, where in it, and the fault."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class CoatLine(_Strict):
    """One dip: its kind and when its stucco was on."""

    kind: Literal["prime", "backup", "seal"]
    dipped_at: AwareDatetime
    thickness_mm: Annotated[float, Field(gt=0, le=5)] | None = None
    water_kg_m2: Annotated[float, Field(gt=0, le=2)] | None = None


class WeighingLine(_Strict):
    """What a scale showed."""

    at: AwareDatetime
    kg: Annotated[float, Field(gt=0, le=500)]


class SurfaceLine(_Strict):
    """What an infrared thermometer showed."""

    at: AwareDatetime
    spot: str
    temp_c: Annotated[float, Field(ge=-40, le=150)]


class TouchLine(_Strict):
    """What a finger felt."""

    at: AwareDatetime
    spot: str
    felt: Literal["damp", "dry"]


class TreeLine(_Strict):
    """One tree with its spots and coats."""

    label: Annotated[str, Field(min_length=1, max_length=60)]
    place: str
    size_mm: Annotated[float, Field(ge=5, le=1000)] = 25.0
    area_m2: Annotated[float, Field(gt=0, le=20)] | None = None
    wax_kg: Annotated[float, Field(gt=0, le=500)] | None = None
    spots: Annotated[list[str], Field(min_length=1, max_length=20)]
    coats: Annotated[list[CoatLine], Field(min_length=1, max_length=30)]
    weighings: list[WeighingLine] = []
    surface_temps: list[SurfaceLine] = []
    touches: list[TouchLine] = []


class CoatsFile(_Strict):
    """The whole file: `{"trees": [...]}`."""

    trees: Annotated[list[TreeLine], Field(min_length=1)]


@dataclass(frozen=True)
class ReplayedCoat:
    """One coat as the judge found it."""

    tree: str
    verdict: CoatVerdict


def read_coats(path: Path) -> CoatsFile:
    """Read a COATS.json; raises CoatsFileError naming the file, the place and the fault."""
    try:
        raw = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise CoatsFileError(f"{path}: cannot be read: {error}") from error
    try:
        said = json.loads(raw)
    except json.JSONDecodeError as error:
        raise CoatsFileError(f"{path}, line {error.lineno}: not JSON: {error.msg}") from error
    try:
        coats = CoatsFile.model_validate(said)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise CoatsFileError(f"{path}: {where}: {first['msg']} (found {first['input']!r})") from error
    for tree in coats.trees:
        _check(path, tree)
    return coats


def _check(path: Path, tree: TreeLine) -> None:
    for text in tree.spots:
        try:
            parse_spot(text)
        except ValueError as error:
            raise CoatsFileError(f"{path}: tree {tree.label!r}: {error}") from error
    first = tree.coats[0].dipped_at
    moments = [one.at for one in tree.weighings] + [one.at for one in tree.surface_temps]
    for moment in moments + [one.at for one in tree.touches]:
        if moment < first:
            raise CoatsFileError(
                f"{path}: tree {tree.label!r}: what was measured at {moment.isoformat()} is before the first "
                f"coat of {first.isoformat()}"
            )
    known = {parse_spot(text).code for text in tree.spots}
    for text in [one.spot for one in tree.surface_temps] + [one.spot for one in tree.touches]:
        if _code(text) not in known:
            raise CoatsFileError(
                f"{path}: tree {tree.label!r}: spot {text!r} is none of its spots: {', '.join(tree.spots)}"
            )
    for weighed in tree.weighings:
        if tree.wax_kg is not None and weighed.kg < tree.wax_kg:
            raise CoatsFileError(
                f"{path}: tree {tree.label!r}: weighing {weighed.kg:g} kg is lighter than its wax alone, "
                f"{tree.wax_kg:g} kg"
            )
    for earlier, later in zip(tree.coats, tree.coats[1:], strict=False):
        if later.dipped_at <= earlier.dipped_at:
            raise CoatsFileError(
                f"{path}: tree {tree.label!r}: the coat of {later.dipped_at.isoformat()} comes after that of "
                f"{earlier.dipped_at.isoformat()}: coats go in order of time"
            )


def _code(text: str) -> str:
    try:
        return parse_spot(text).code
    except ValueError:
        return text


def replay(
    air: Mapping[str, Sequence[Reading]],
    coats: CoatsFile,
    as_of: Millis | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
    ensemble: Ensemble = ALONE,
) -> Sequence[ReplayedCoat]:
    """Judge every coat of every tree by its place's record; `as_of` [ms] hides what came after it.

    Each coat is judged by what was known, and measured, up to the next dip. Raises CoatsFileError where a
    tree stands in a place that the air file does not know.
    """
    places = {}
    for place, said in air.items():
        places[place] = PlaceAir(STILL_AIR_M_S, trusted=True)
        places[place].add(reading for reading in said if as_of is None or reading.time <= as_of)
    for tree in coats.trees:
        if tree.place not in places:
            known = ", ".join(sorted(places)) or "none"
            raise CoatsFileError(
                f"tree {tree.label!r}: no air for place {tree.place!r} (the air file has: {known})"
            )
    trees = [_replayed(tree, as_of) for tree in coats.trees]
    lessons = Lessons(ensemble, trees, places)
    found: list[ReplayedCoat] = []
    for done, (one, line) in enumerate(zip(trees, coats.trees, strict=True)):
        progress(done, len(trees))
        found += _replay_tree(line, one, places[line.place], lessons)
    progress(len(trees), len(trees))
    return found


def _replayed(tree: TreeLine, as_of: Millis | None) -> ReplayedTree:
    dips = [
        CoatDip(
            number, coat_material(coat.kind, coat.thickness_mm, coat.water_kg_m2), _millis(coat.dipped_at)
        )
        for number, coat in enumerate(tree.coats, start=1)
    ]
    said: list[tuple[Millis, Told]] = [
        (_millis(one.at), Told(0, "weighing", "face", 0, one.kg)) for one in tree.weighings
    ]
    said += [
        (_millis(one.at), Told(0, "surface_temp", _code(one.spot), 0, one.temp_c))
        for one in tree.surface_temps
    ]
    said += [(_millis(one.at), Told(0, "touch", _code(one.spot), 0, word=one.felt)) for one in tree.touches]
    said.sort(key=lambda one: one[0])
    return ReplayedTree(
        tree.place,
        tree.size_mm,
        tree.area_m2,
        tuple(dip for dip in dips if as_of is None or dip.at <= as_of),
        tuple(one for one in said if as_of is None or one[0] <= as_of),
    )


def _millis(moment: datetime) -> Millis:
    return round(moment.timestamp() * SECOND_MS)


def _replay_tree(line: TreeLine, tree: ReplayedTree, air: PlaceAir, lessons: Lessons) -> list[ReplayedCoat]:
    judged = JudgedTree(
        line.label, line.size_mm, tuple((s, parse_spot(s).describe()) for s in line.spots), len(line.coats)
    )
    known = air.known_until()
    end = (known or 0) + DAY_MS
    found: list[ReplayedCoat] = []
    # Each coat as it was known when the next one went on: coats between two measurements are judged together.
    until = [dip.at for dip in tree.dips[1:]] + [end]
    for index, moment in enumerate(until):
        last = index + 1 == len(until)
        if not last and lessons.count(tree.place, moment) == lessons.count(tree.place, until[index + 1]):
            continue
        ensemble = lessons.believed(tree.place, moment)
        dips = tree.dips if last else tree.dips[: index + 2]
        judge = TreeJudge(judged, dips, air, ensemble=ensemble)
        judge.advance(moment)
        coats = () if judge.state is None else judge.state.coats
        verdicts = coat_verdicts(judged, coats, ensemble)
        found += [ReplayedCoat(line.label, verdict) for verdict in verdicts[len(found) : index + 1]]
    waiting = [ReplayedCoat(line.label, _not_reached(dip, known)) for dip in tree.dips[len(found) :]]
    return found + waiting


def _not_reached(dip: CoatDip, known: Millis | None) -> CoatVerdict:
    from_when = "is empty" if known is None else f"ends at {format_time(known)}"
    return CoatVerdict(
        number=dip.number,
        kind=dip.material.kind,
        dip_id=0,
        dipped_at=dip.at,
        fit_at=NEVER,
        slowest_spot=None,
        slowest_name=None,
        damp_at_next=None,
        warnings=(f"The air record {from_when}, before this coat could be judged.",),
    )
