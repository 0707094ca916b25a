"""What goes over the wire: the shapes, units and bounds of every request and answer.

Times go in with a zone (RFC 3339) and come out in UTC. Everything a person may write is bounded.
"""

import math
from datetime import UTC, datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from scheduler.forecast import State
from sensors.clock import SECOND_MS, Millis
from server.drying.spots import parse_spot
from server.plain_names import is_plain

EARLIEST_YEAR, LATEST_YEAR = 2000, 2200
LARGEST_ID = 2**31 - 1
MOST_SPOTS = 24


def to_millis(moment: datetime) -> Millis:
    """A time of the wire as shop time [ms]."""
    return round(moment.timestamp() * SECOND_MS)


def to_datetime(moment: Millis) -> datetime:
    """Shop time [ms] as a time of the wire, in UTC."""
    return datetime.fromtimestamp(moment / SECOND_MS, UTC)


def maybe_datetime(moment: Millis | None) -> datetime | None:
    """As `to_datetime`; None stays None."""
    return None if moment is None else to_datetime(moment)


def _sane(moment: datetime) -> datetime:
    if not EARLIEST_YEAR <= moment.year <= LATEST_YEAR:
        raise ValueError(f"the year must be {EARLIEST_YEAR} to {LATEST_YEAR}, not {moment.year}")
    return moment


def _spot_code(code: str) -> str:
    return parse_spot(code).code


def _plain_text(text: str) -> str:
    if not is_plain(text):
        raise ValueError("must be one line of plain text")
    return text


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError("must be a finite number")
    return value


Moment = Annotated[AwareDatetime, AfterValidator(_sane)]
Name = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=60), AfterValidator(_plain_text)
]
Note = Annotated[str, StringConstraints(strip_whitespace=True, max_length=500), AfterValidator(_plain_text)]
Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_-]{1,64}$")]
SpotCode = Annotated[str, StringConstraints(max_length=40), AfterValidator(_spot_code)]
Id = Annotated[int, Field(ge=1, le=LARGEST_ID)]
SizeMm = Annotated[float, Field(ge=1, le=2000), AfterValidator(_finite)]


class Wire(BaseModel):
    """What is sent to us: nothing is taken that is not known."""

    model_config = ConfigDict(extra="forbid")


class FitAt(BaseModel):
    """When, at the 10th, 50th and 90th percentile; null where it never is."""

    p10: datetime | None
    p50: datetime | None
    p90: datetime | None


class RackTree(BaseModel):
    """A tree on the rack. `remaining` is the fraction of the latest dip's water left at the slowest spot."""

    id: int
    label: str
    hook: str
    place: str
    coat: int
    of: int
    kind: str
    state: State
    slowest_spot: str | None
    remaining: float | None
    fit_at: FitAt
    reason: str


class RackAnswer(BaseModel):
    """The rack, the next to dip first, at shop time `as_of`; shop time runs at `clock_rate` times the
    wall's."""

    as_of: datetime
    clock_rate: float
    trees: list[RackTree]


class SpotShape(Wire):
    """A place on a tree where dryness is judged: a code like "joint:30", and the caster's own words for
    it."""

    code: SpotCode
    name: Name


class TreeRequest(Wire):
    """A tree for the rack. `size_mm` is the length of its faces along the air; `recipe` is a recipe's id."""

    label: Name
    hook: Name
    place: Slug
    recipe: Id
    size_mm: SizeMm
    spots: Annotated[list[SpotShape], Field(min_length=1, max_length=MOST_SPOTS)]
    area_m2: Annotated[float, Field(gt=0, le=20), AfterValidator(_finite)] | None = None
    wax_kg: Annotated[float, Field(gt=0, le=200), AfterValidator(_finite)] | None = None


class TreeChange(Wire):
    """What of a tree is to change; what is left out stays."""

    label: Name | None = None
    hook: Name | None = None
    place: Slug | None = None
    size_mm: SizeMm | None = None
    spots: Annotated[list[SpotShape], Field(min_length=1, max_length=MOST_SPOTS)] | None = None
    recipe: Annotated[int, Field(ge=1, le=LARGEST_ID)] | None = Field(
        None, description="the id of a recipe that has the coats which are on as they are"
    )


class CoatShape(BaseModel):
    """One coat of a recipe."""

    number: int
    kind: str
    thickness_mm: float
    water_kg_m2: float


class RecipeShape(BaseModel):
    """The coats of a shell, in order."""

    id: int
    name: str
    coats: list[CoatShape]


class DipShape(BaseModel):
    """A coat that went on: `at` is when its stucco was on, `said_at` when it was said."""

    id: int
    coat: int
    at: datetime
    said_at: datetime
    pot: str | None
    prewet: bool
    partial: bool
    note: str | None
    undone_at: datetime | None


class TreeAnswer(BaseModel):
    """A tree of the register. `left` is "" on the rack, or how it left it."""

    id: int
    label: str
    hook: str
    place: str
    recipe: RecipeShape
    size_mm: float
    area_m2: float | None
    wax_kg: float | None
    spots: list[SpotShape]
    created_at: datetime
    left: str
    state: State | None
    dips: list[DipShape]


class DipRequest(Wire):
    """The next coat went on, now or `at`. `confirm` answers the question of a 409 with yes.

    `coat` is the number that the sender believes it has: where it is another one, that is the question."""

    at: Moment | None = None
    coat: int | None = Field(default=None, ge=1, le=99)
    pot: Name | None = None
    prewet: bool = False
    partial: bool = False
    note: Note | None = None
    confirm: bool = False


class GapShape(BaseModel):
    """A time in which the air is not known."""

    start: datetime = Field(alias="from", serialization_alias="from")
    end: datetime = Field(alias="to", serialization_alias="to")


class AirShape(BaseModel):
    """The air at a time; null where it is not known."""

    time: datetime
    temp_c: float | None
    rh_pct: float | None


class PlaceShape(BaseModel):
    """A part of the shop with air of its own; `latest` is the last air that is known there."""

    id: str
    name: str
    speed_m_s: float
    latest: AirShape | None


class AirAnswer(BaseModel):
    """The air record of a place."""

    place: str
    air: list[AirShape]
    gaps: list[GapShape]


class NodeFaultShape(BaseModel):
    """What is or was the matter with a node; `left_out`: it does not count in its place's air meanwhile."""

    kind: str
    since: datetime
    until: datetime | None
    reason: str
    left_out: bool


class NodeShape(BaseModel):
    """A sensor node as last heard of."""

    place: str
    node: str
    status: Literal["online", "offline", "unheard"]
    last_heard: datetime | None
    faults: list[NodeFaultShape]


class ReadingShape(BaseModel):
    """One reading as it came, in its SenML unit."""

    time: datetime
    name: str
    unit: str
    value: float


class KeptOut(BaseModel):
    """A record that was kept out, and why."""

    reason: str


class ReadingsAnswer(BaseModel):
    """What became of a pack: how many readings of it are kept, and what was kept out. Known ones count as
    kept."""

    taken: int
    rejected: list[KeptOut]


class Live(BaseModel):
    """The service runs."""

    status: Literal["live"] = "live"


class Ready(BaseModel):
    """The service is able to judge."""

    status: Literal["ready"] = "ready"
