"""What the store hands out and takes in: plain values, no rows. Times are shop time [ms since 1970, UTC]."""

from dataclasses import dataclass, field
from typing import Any, Literal

from sensors.clock import Millis


@dataclass(frozen=True)
class Place:
    """A part of the shop with air of its own. `speed_m_s` is the air's speed at the rack [m/s]."""

    id: str
    name: str
    speed_m_s: float


@dataclass(frozen=True)
class Node:
    """A sensor node. `status` is its last word, "online" or "offline", or "unheard" where it never said.

    `last_heard` is the latest time that it spoke of.
    """

    place: str
    node: str
    status: str
    last_heard: Millis | None


@dataclass(frozen=True)
class RecipeCoat:
    """One coat of a recipe.

    `number` from 1; `kind` prime, backup or seal; its thickness [mm]; the water a dip brings [kg/m²].
    """

    number: int
    kind: str
    thickness_mm: float
    water_kg_m2: float


@dataclass(frozen=True)
class Recipe:
    """The coats of a shell, in order."""

    id: int
    name: str
    coats: tuple[RecipeCoat, ...]


@dataclass(frozen=True)
class TreeSpot:
    """A place on a tree where dryness is judged: its code ("joint:30") and the caster's own words for it."""

    code: str
    name: str


@dataclass(frozen=True)
class Tree:
    """A wax tree on the rack.

    `size_mm` is the length of its faces along the air; its area [m²] and its wax [kg] where they are known.

    `left` is "" on the rack, "cleared" or "scrapped" when a person took it off.
    """

    id: int
    label: str
    hook: str
    place: str
    recipe: Recipe
    size_mm: float
    area_m2: float | None
    wax_kg: float | None
    spots: tuple[TreeSpot, ...]
    created_at: Millis
    left: str = ""
    resting_hours: float = 24.0


@dataclass(frozen=True)
class NewTree:
    """What a person says to put a tree on the rack."""

    label: str
    hook: str
    place: str
    recipe_id: int
    size_mm: float
    spots: tuple[TreeSpot, ...]
    area_m2: float | None = None
    wax_kg: float | None = None


@dataclass(frozen=True)
class TreeEvent:
    """Something that was said of a tree: "added", "amended", "cleared" or "scrapped", and the words of it.

    `at` is when it was so, `said_at` when it was said.
    """

    kind: str
    at: Millis
    said_at: Millis
    payload: dict[str, Any]


@dataclass(frozen=True)
class Dip:
    """A coat that went on.

    `at` is when its stucco was on, `said_at` when it was said. Undone ones are kept, marked, with the number
    they had.
    """

    id: int
    tree_id: int
    coat: int
    at: Millis
    said_at: Millis
    pot: str | None = None
    prewet: bool = False
    partial: bool = False
    note: str | None = None
    undone_at: Millis | None = None


@dataclass(frozen=True)
class NewDip:
    """What a person says when a coat went on."""

    tree_id: int
    at: Millis
    said_at: Millis
    pot: str | None = None
    prewet: bool = False
    partial: bool = False
    note: str | None = None
    key: str | None = None


MeasuredKind = Literal["weighing", "surface_temp", "touch", "colour"]


@dataclass(frozen=True)
class NewMeasurement:
    """What a person measured on a tree, at `at`, said at `said_at`.

    A weighing has `value` [kg]; a surface temperature `spot`, `value` [°C] and, where a dry shell was read
    too, `reference_c` [°C]; a touch ("damp", "dry") and a colour ("dark", "pale") have `spot` and `word`.
    """

    tree_id: int
    kind: MeasuredKind
    at: Millis
    said_at: Millis
    spot: str | None = None
    value: float | None = None
    reference_c: float | None = None
    word: str | None = None
    key: str | None = None


@dataclass(frozen=True)
class Measurement:
    """A measurement as it is kept; an undone one is marked."""

    id: int
    tree_id: int
    kind: MeasuredKind
    at: Millis
    said_at: Millis
    spot: str | None = None
    value: float | None = None
    reference_c: float | None = None
    word: str | None = None
    undone_at: Millis | None = None


@dataclass(frozen=True)
class Generation:
    """What was believed of a place from `said_at` on: figures of its members by name, and their weights.

    `cause` is "measured", "load cell", "undone", "instruments" or "forgotten"; `evidence` says, for each
    measurement that went in, its id and how far it was disbelieved. Points of a load cell have numbers below
    nought.
    """

    place: str
    generation: int
    seed: int
    cause: str
    said_at: Millis
    members: dict[str, Any]
    weights: tuple[float, ...]
    evidence: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class Subscription:
    """Who asked to be told. A phone (`kind` "push"): its endpoint and its keys (base64url) by RFC 8030.

    Another channel (`kind` "other"): its address in `endpoint`, which holds secrets, and its `name`; no keys.
    """

    id: int
    endpoint: str
    p256dh: str
    auth: str
    kind: str = "push"
    name: str = ""


@dataclass(frozen=True)
class Delivery:
    """One notice on its way to one phone or channel. `attempts` were made; `next_try` is wall time [ms].

    `key` and `cause` are the notice's own; from the key comes the name under which a repeat replaces it.
    `kept` is when it was told [wall ms].
    """

    notice_id: int
    key: str
    cause: str
    subscription: Subscription
    title: str
    body: str
    tree_id: int | None
    attempts: int
    next_try: Millis
    kept: Millis = 0


@dataclass(frozen=True)
class KeptNotice:
    """A notice in the outbox, with to how many phones and channels it was sent, waits, failed or was dropped.

    `maybe_sent` counts the attempts that were begun and never ended: under way, or cut off by a crash.
    `held`: it is kept for later and was not told yet.
    """

    id: int
    key: str
    cause: str
    tree_id: int | None
    title: str
    body: str
    at: Millis
    sent: int
    waiting: int
    failed: int
    last_error: str | None = None
    maybe_sent: int = 0
    dropped: int = 0
    held: bool = False


@dataclass(frozen=True)
class Undelivered:
    """A notice that did not reach one phone or channel: its words, to whom, how it stands, and why.

    `state` is "waiting" (to be tried again at `at`), "failed" or "dropped" (both given up at `at`) or
    "sending" (begun and cut off by a crash: it may have arrived). `at` is wall time [ms], None where it was
    not kept.
    """

    title: str
    subscription: Subscription
    state: str
    attempts: int
    reason: str
    at: Millis | None


@dataclass(frozen=True)
class KeptRejection:
    """A payload that was kept out, and why."""

    id: int
    source: str
    reason: str
    payload: bytes
    arrived: Millis


@dataclass(frozen=True)
class BatchOutcome:
    """What a commit of readings did: how many were new, known already, and kept out."""

    new: int = 0
    known: int = 0
    rejected: int = 0
    earliest: dict[str, Millis] = field(default_factory=dict)
    """For each place that got new readings, the earliest time among them."""


@dataclass(frozen=True)
class ClockAnchor:
    """Shop time tied to the wall's: `shop_anchor` at `wall_anchor` [ms], then `rate` times as fast [-]."""

    shop_anchor: Millis
    wall_anchor: Millis
    rate: float
