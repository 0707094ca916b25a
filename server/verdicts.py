"""The judge's findings as plain values: what pages, API and command line show. Times are shop time [ms]."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from scheduler.forecast import Outlook, Quantiles
from sensors.bridging import Bridge
from sensors.clock import Millis
from server.drying.coming_coats import ComingAir
from server.drying.ensemble import Ensemble
from server.drying.warnings import NO_CLIMATE, CoatClimate
from server.drying.whatif import WhatIf

Curve = tuple[tuple[Millis, float], ...]
"""Points (shop time [ms], fraction of the latest dip's water remaining [-])."""

Band = tuple[tuple[Millis, float, float], ...]
"""The spread of a curve: (shop time [ms], percentile 10, percentile 90 of what remains [-])."""

Course = tuple[tuple[Millis, float, float, float], ...]
"""A curve with its spread: (shop time [ms], what remains, percentile 10, percentile 90 [-])."""


@dataclass(frozen=True)
class SpotVerdict:
    """One spot of a tree: what remains there, what a scale would see, and how far its drying cools it [K].

    `curve` is what happened since the latest dip, `ahead` what is expected if the air goes on as it is.
    `limit` is the remaining fraction at which the next coat may go on. `wetness` is, for each coat from the
    wax out, its water above equilibrium there as a share of what its own dip brought [-]; empty where the
    judge does not say. `over_dry` is the water of the whole shell there above equilibrium at 60 %RH over its
    dry mass [-], as the members that it takes to call it dry stay within; `over_dry_mean` the members' mean.
    `band` and `band_ahead` are the spread of `curve` and `ahead` at their own times.
    """

    code: str
    name: str
    remaining: float
    water_left: float
    cooling_k: float
    temp_c: float
    limit: float
    fit: bool
    fit_at: Quantiles
    curve: Curve
    ahead: Curve
    wetness: tuple[float, ...] = ()
    over_dry: float | None = None
    over_dry_mean: float | None = None
    band: Band = ()
    band_ahead: Band = ()


@dataclass(frozen=True)
class CoatVerdict:
    """One coat as it went: when it was dipped, when it came fit, which spot was last, and what was noticed.

    `damp_at_next` is what remained at the slowest spot when the next coat went on, None while none has;
    `left_at_next` the same for each spot, by the caster's words for it. `patch` is the spot's code where this
    was a patch at one spot. `gaps` are where the air was not known [ms], `bridges` what was assumed there.
    `courses` say for each spot, by its code, how a coat dried that another one is over.
    """

    number: int
    kind: str
    dip_id: int
    dipped_at: Millis
    fit_at: Quantiles
    slowest_spot: str | None
    slowest_name: str | None
    damp_at_next: float | None
    warnings: tuple[str, ...] = ()
    pot: str | None = None
    note: str | None = None
    patch: str | None = None
    left_at_next: tuple[tuple[str, float], ...] = ()
    gaps: tuple[tuple[Millis, Millis], ...] = ()
    bridges: tuple[Bridge, ...] = ()
    climate: CoatClimate = NO_CLIMATE
    courses: tuple[tuple[str, Course], ...] = ()


@dataclass(frozen=True)
class AirPoint:
    """The air of a place at a time; None where it is not known."""

    time: Millis
    temp_c: float | None
    rh_pct: float | None


@dataclass(frozen=True)
class TreeVerdict:
    """Everything the judge can say of one tree. `air` is what it dried in since the latest dip.

    `rested` is how long it has rested, dry through in air that was fit, of `rest` [ms].
    """

    outlook: Outlook
    spots: tuple[SpotVerdict, ...]
    coats: tuple[CoatVerdict, ...]
    air: tuple[AirPoint, ...]
    warnings: tuple[str, ...]
    rested: Millis = 0
    rest: Millis = 0


@dataclass(frozen=True)
class Advice:
    """A measurement that is asked for: of which tree, what kind, where, when [ms].

    `narrowed` is the spread that is expected after it over the spread before [-].
    """

    tree_id: int
    kind: str
    spot: str
    at: Millis
    narrowed: float


@dataclass(frozen=True)
class NodeFault:
    """A node that is not to be believed, or that a person should look at, and why.

    From `start` until before `end` [ms], None: still. `reason` follows the node's name in a sentence.
    `left_out`: it does not count in its place's air meanwhile.
    """

    place: str
    node: str
    kind: str
    start: Millis
    end: Millis | None
    reason: str
    left_out: bool


class Rack(Protocol):
    """The live rack, as pages and API see it. Calls are thread-safe and quick: they read a picture."""

    def outlooks(self) -> Sequence[Outlook]:
        """The latest verdict on each tree on the rack."""
        ...

    def tree(self, tree_id: int) -> TreeVerdict | None:
        """All that is known of one tree, or None when it is not on the rack."""
        ...

    def refresh(self, tree_id: int) -> None:
        """Judge one tree anew because something was said of it; returns when the picture shows it."""
        ...

    def learn(self, place: str, cause: str) -> None:
        """Have a place learn from its measurements anew, or forget them; returns at once.

        `cause` is "measured", "undone", "forgotten", or "instruments" where those were set otherwise.
        """
        ...

    def advice(self) -> Advice | None:
        """The measurement that is asked for today, None where none is."""
        ...

    def believe_anew(self) -> None:
        """Take what the shop believes as it is set now, and judge every tree by it; returns at once."""
        ...

    def calibrated(self, place: str) -> None:
        """Make a place's air anew by its calibrations, and judge its trees by that; returns at once."""
        ...

    def node_faults(self) -> Sequence[NodeFault]:
        """The faults of nodes that the air records know of, as of the latest look."""
        ...

    def what_if(self, tree_id: int) -> WhatIf | None:
        """What would save time on a tree, worked out when it is asked; None where nothing can be compared."""
        ...

    def coming(self, place: str) -> tuple[ComingAir, Ensemble] | None:
        """The air expected at a place, and the members that judge it; None where nothing is known of it."""
        ...

    def air_said(self) -> None:
        """Something else is said of the coming air: foretell anew; returns at once."""
        ...

    def air(self, place: str, start: Millis, end: Millis) -> Sequence[AirPoint]:
        """The air record of a place, in steps of a block."""
        ...
