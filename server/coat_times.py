"""How long the coats to come of a tree will dry, kept for as long as what that rests on is the same.

What is not known yet is reckoned in a thread of its own, alike trees together; until then the usual figures
of the trade stand in for it, and the plan says so. An air that has changed by less than its forecast may be
off by leaves the last answer standing until the new one is there.
"""

import logging
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from sensors.clock import HOUR_MS
from server.drying.coming_coats import ComingAir, coat_seconds, reckoned_spots, size_step_mm
from server.drying.ensemble import Ensemble
from server.drying.materials import DRY_THROUGH_LIMIT, CoatMaterial, MaterialError
from server.drying.materials import coat as coat_material
from server.store.values import Tree

log = logging.getLogger("slowcorner.plan")

Floats = NDArray[np.float64]

MOST_KEPT = 400
NEAR_TEMP_K, NEAR_RH_PCT = 1.0, 5.0
"""So far apart [K], [%RH] an answer may stand for another air's a while: two of its steps; assumed."""

USUAL_HOURS = {"prime": (2.0, 4.0, 12.0), "backup": (2.0, 5.0, 18.0), "seal": (1.0, 4.0, 12.0)}
"""What a coat takes to dry before it is reckoned: soonest, middle, latest [h]; from memory."""

Alike = tuple[str, tuple[CoatMaterial, ...], str, float, str, float]
"""What alike trees have in common: place, coats, spot, size [mm], members, dry limit [-]."""

Key = tuple[tuple[CoatMaterial, ...], str, float, str, float, ComingAir]
"""What a reckoning rests on: the same without the place, and the air."""


@dataclass
class CoatTimes:
    """Answers at once. From any thread; `wait` until all that was asked for is reckoned.

    While what is asked for is being reckoned, the last answer for alike trees of the place stands, as long as
    its air is no further from the new one than the forecast of it may be off by, or than `NEAR_TEMP_K` and
    `NEAR_RH_PCT`.
    """

    _known: dict[Key, Floats] = field(default_factory=dict)
    _last: dict[Alike, Key] = field(default_factory=dict)
    _asked: dict[Alike, tuple[Key, Future[None]]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)
    _worker: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="slowcorner-plan")
    )

    def of(
        self,
        tree: Tree,
        coming: ComingAir,
        ensemble: Ensemble,
        dry_limit: float = DRY_THROUGH_LIMIT,
    ) -> tuple[Floats, bool]:
        """Seconds that each coat of the tree's recipe dries by each member, (coats, M); whether reckoned.

        dry_limit: water over dry mass that a shell which is dry through may hold [-].
        """
        coats, size_mm = materials(tree), size_step_mm(tree.size_mm)
        spots = reckoned_spots([spot.code for spot in tree.spots])
        found: list[Floats] = []
        with self._lock:
            for spot in spots:
                alike = tree.place, coats, spot, size_mm, ensemble.key, dry_limit
                key = coats, spot, size_mm, ensemble.key, dry_limit, coming.step
                if key not in self._known:
                    self._ask(alike, key, ensemble)
                    last = self._last.get(alike)
                    if last is None or last not in self._known or not _near(last[-1], coming):
                        continue
                    key = last
                self._last[alike] = key
                found.append(self._known[key])
        if len(found) == len(spots):
            return np.max(found, axis=0), True
        return usual_seconds([coat.kind for coat in coats], ensemble.count), False

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait until nothing is asked for any more, so long at most for each [s]."""
        for _, future in list(self._asked.values()):
            future.result(timeout_s)

    def _ask(self, alike: Alike, key: Key, ensemble: Ensemble) -> None:
        """Have it reckoned, in place of what was asked before for such trees and has not been begun."""
        before = self._asked.get(alike)
        if before is not None and (before[0] == key or not (before[1].done() or before[1].cancel())):
            return
        self._asked[alike] = key, self._worker.submit(self._reckon, alike, key, ensemble)

    def _reckon(self, alike: Alike, key: Key, ensemble: Ensemble) -> None:
        if key in self._known:  # The same trees in another place, in the same air.
            return
        coats, spot, size_mm, _, dry_limit, coming = key
        try:
            seconds = coat_seconds(coats, spot, size_mm, coming, ensemble, dry_limit)
        except Exception:
            log.exception("how long coats at %s of %g mm will dry cannot be reckoned", spot, size_mm)
            seconds = usual_seconds([coat.kind for coat in coats], ensemble.count)
        with self._lock:
            while len(self._known) >= MOST_KEPT:
                self._known.pop(next(iter(self._known)))
            self._known[key] = seconds
            while len(self._last) >= MOST_KEPT:
                self._last.pop(next(iter(self._last)))
            self._last[alike] = key
            if self._asked.get(alike, (None,))[0] == key:
                del self._asked[alike]


def _near(reckoned: ComingAir, coming: ComingAir) -> bool:
    """Whether an answer in the one air may stand for the other for a while."""
    air, other = reckoned.air, coming.step.air
    return (
        (air.speed_m_s, air.pressure_pa) == (other.speed_m_s, other.pressure_pa)
        and abs(air.temp_c - other.temp_c) <= max(coming.temp_off, NEAR_TEMP_K)
        and abs(air.rh_pct - other.rh_pct) <= max(coming.rh_off, NEAR_RH_PCT)
    )


def materials(tree: Tree) -> tuple[CoatMaterial, ...]:
    """The coats of a tree's recipe: the one it was hung with, whatever was said of recipes since."""
    found = []
    for coat in tree.recipe.coats:
        try:
            found.append(coat_material(coat.kind, coat.thickness_mm, coat.water_kg_m2))
        except MaterialError:
            found.append(coat_material(coat.kind))
    return tuple(found)


def usual_seconds(kinds: Sequence[str], members: int) -> Floats:
    """The usual figures spread over so many members, (coats, M) [s].

    >>> (usual_seconds(["prime"], 3) / 3600).round(1).tolist()
    [[2.3, 4.0, 10.7]]
    """
    levels = (np.arange(members) + 0.5) / members
    rows = [np.interp(levels, (0.1, 0.5, 0.9), USUAL_HOURS[kind]) for kind in kinds]
    return np.array(rows) * HOUR_MS / 1000.0
