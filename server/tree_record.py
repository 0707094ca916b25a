"""What the judge takes and keeps of one tree: its dips, how its coats went so far, a state to go on from."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from sensors.bridging import Bridge
from sensors.clock import HOUR_MS, Millis
from sensors.humid_air import STANDARD_PRESSURE_PA
from server.drying.ensemble import CONFIDENCE
from server.drying.materials import DRY_THROUGH_LIMIT, CoatMaterial
from server.drying.shell import SpotShell
from server.drying.warnings import NO_CLIMATE, CoatClimate
from server.verdicts import Band, Course, Curve

REST_MS = 24 * HOUR_MS
"""How long a dry shell rests after its last coat before it is called dry through: common practice, a day."""

Times = NDArray[np.int64]

NOT_YET = -1
"""In place of a time that has not come [ms]."""


class UnreadableStateError(Exception):
    """A kept state that cannot be taken up again."""


@dataclass(frozen=True)
class CoatDip:
    """A dip as the model needs it: the coat's number from 1, its material, when its stucco was on.

    A patch is one that went on at one `spot` alone (its code), over the last coat and under its number.
    """

    number: int
    material: CoatMaterial
    at: Millis
    dip_id: int = 0
    pot: str | None = None
    note: str | None = None
    spot: str | None = None


@dataclass(frozen=True)
class JudgedTree:
    """What the model needs to know of a tree; `spots` are (code, the caster's words).

    `confidence` is the weighted share of the members that must call a coat fit before it is called so [-];
    `pressure_pa` is that of the air it hangs in [Pa], as its record says too. `dry_limit` is the water over
    dry mass below which the shell is dry through [-].
    """

    label: str
    size_mm: float
    spots: tuple[tuple[str, str], ...]
    coats_in_all: int
    rest_ms: Millis = REST_MS
    confidence: float = CONFIDENCE
    pressure_pa: float = STANDARD_PRESSURE_PA
    dry_limit: float = DRY_THROUGH_LIMIT


@dataclass(frozen=True)
class CoatRecord:
    """How one coat went, so far.

    member_fit_at: (1 + spots, M) when each member first called all spots fit at once, then when each spot
        [ms]; NOT_YET where it has not.
    fit_at, spot_fit_at: when so many of them had that it is called fit.
    left_at_next: what remained at each spot when the next coat came [-], () while none has.
    courses: how it dried at each spot, () while no coat is over it.
    gaps: where the air was not known [ms]; bridges: what was assumed in them, where anything was.
    """

    dip: CoatDip
    member_fit_at: Times = field(compare=False)
    fit_at: Millis | None = None
    spot_fit_at: tuple[Millis | None, ...] = ()
    through_at: Millis | None = None
    rested_ms: Millis = 0
    damp_at_next: float | None = None
    damp_spot: int | None = None
    left_at_next: tuple[float, ...] = ()
    gaps: tuple[tuple[Millis, Millis], ...] = ()
    bridges: tuple[Bridge, ...] = ()
    climate: CoatClimate = NO_CLIMATE
    courses: tuple[Course, ...] = ()


@dataclass(frozen=True)
class Committed:
    """The state of a tree at the end of a block or just after a dip: enough to go on from, no more."""

    at: Millis
    shells: tuple[SpotShell, ...]
    coats: tuple[CoatRecord, ...]
    curves: tuple[Curve, ...]
    air: Air | None
    """The air of the last settled block; None after a gap or where none is known yet."""
    bands: tuple[Band, ...] = ()
    """The spread of each curve at its own times."""


class Mark:
    """A state to go back to, read from where it is kept when it is first asked for."""

    def __init__(self, at: Millis, read: Callable[[], Committed]) -> None:
        self.at = at
        self._read = read
        self._state: Committed | None = None

    @property
    def state(self) -> Committed:
        """The state just after the dip at `at`; raises what reading it raises."""
        if self._state is None:
            self._state = self._read()
        return self._state


def mark_of(state: Committed) -> Mark:
    """A mark of a state that is at hand."""
    return Mark(state.at, lambda: state)
