"""Runs a record of air and dips through the judge the service uses, as fast as it goes."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from scheduler.forecast import NEVER
from sensors.air import PlaceAir
from sensors.clock import DAY_MS, Millis, format_time
from sensors.reading import Reading
from server.coat_verdicts import coat_verdicts
from server.drying.ensemble import ALONE, Ensemble
from server.drying.materials import coat as coat_material
from server.drying.spots import parse_spot
from server.judging import CoatDip, JudgedTree, TreeJudge
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
    for earlier, later in zip(tree.coats, tree.coats[1:], strict=False):
        if later.dipped_at <= earlier.dipped_at:
            raise CoatsFileError(
                f"{path}: tree {tree.label!r}: the coat of {later.dipped_at.isoformat()} comes after that of "
                f"{earlier.dipped_at.isoformat()}: coats go in order of time"
            )


def replay(
    air: Mapping[str, Sequence[Reading]],
    coats: CoatsFile,
    as_of: Millis | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
    ensemble: Ensemble = ALONE,
) -> Sequence[ReplayedCoat]:
    """Judge every coat of every tree by its place's record; `as_of` [ms] hides what came after it.

    Raises CoatsFileError where a tree stands in a place that the air file does not know.
    """
    places = {}
    for place, said in air.items():
        places[place] = PlaceAir(STILL_AIR_M_S)
        places[place].add(reading for reading in said if as_of is None or reading.time <= as_of)
    found: list[ReplayedCoat] = []
    for done, tree in enumerate(coats.trees):
        progress(done, len(coats.trees))
        if tree.place not in places:
            known = ", ".join(sorted(places)) or "none"
            raise CoatsFileError(
                f"tree {tree.label!r}: no air for place {tree.place!r} (the air file has: {known})"
            )
        found += _replay_tree(tree, places[tree.place], as_of, ensemble)
    progress(len(coats.trees), len(coats.trees))
    return found


def _replay_tree(
    tree: TreeLine, air: PlaceAir, as_of: Millis | None, ensemble: Ensemble
) -> list[ReplayedCoat]:
    dips = [
        CoatDip(
            number,
            coat_material(coat.kind, coat.thickness_mm, coat.water_kg_m2),
            round(coat.dipped_at.timestamp() * 1000),
        )
        for number, coat in enumerate(tree.coats, start=1)
    ]
    dips = [dip for dip in dips if as_of is None or dip.at <= as_of]
    judged = JudgedTree(
        tree.label, tree.size_mm, tuple((s, parse_spot(s).describe()) for s in tree.spots), len(tree.coats)
    )
    judge = TreeJudge(judged, tuple(dips), air, ensemble=ensemble)
    known = air.known_until()
    judge.advance((known or 0) + DAY_MS)
    done = () if judge.state is None else coat_verdicts(judged, judge.state.coats, ensemble)
    waiting = [ReplayedCoat(tree.label, _not_reached(dip, known)) for dip in dips[len(done) :]]
    return [ReplayedCoat(tree.label, verdict) for verdict in done] + waiting


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
