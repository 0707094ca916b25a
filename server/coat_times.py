"""How long the coats to come of a tree will dry, kept for as long as what that rests on is the same.

What is not known yet is reckoned in a thread of its own, alike trees together; until then the usual figures
of the trade stand in for it, and the plan says so.
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
from server.drying.materials import CoatMaterial, MaterialError
from server.drying.materials import coat as coat_material
from server.store.values import Tree

log = logging.getLogger("slowcorner.plan")

Floats = NDArray[np.float64]

MOST_KEPT = 400
USUAL_HOURS = {"prime": (2.0, 4.0, 12.0), "backup": (2.0, 5.0, 18.0), "seal": (1.0, 4.0, 12.0)}
"""What a coat takes to dry before it is reckoned: soonest, middle, latest [h]; from memory."""

Key = tuple[tuple[CoatMaterial, ...], str, float, ComingAir, str]


@dataclass
class CoatTimes:
    """Answers at once. From any thread; `wait` until all that was asked for is reckoned."""

    _known: dict[Key, Floats] = field(default_factory=dict)
    _asked: dict[Key, Future[None]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)
    _worker: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="slowcorner-plan")
    )

    def of(self, tree: Tree, coming: ComingAir, ensemble: Ensemble) -> tuple[Floats, bool]:
        """Seconds that each coat of the tree's recipe dries by each member, (coats, M); whether reckoned."""
        coats = materials(tree)
        found: list[Floats] = []
        for spot in reckoned_spots([spot.code for spot in tree.spots]):
            key = coats, spot, size_step_mm(tree.size_mm), coming.step, ensemble.key
            with self._lock:
                if key in self._known:
                    found.append(self._known[key])
                elif key not in self._asked:
                    self._asked[key] = self._worker.submit(self._reckon, key, ensemble)
        if len(found) == len(reckoned_spots([spot.code for spot in tree.spots])):
            return np.max(found, axis=0), True
        return usual_seconds([coat.kind for coat in coats], ensemble.count), False

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait until nothing is asked for any more, so long at most for each [s]."""
        for future in list(self._asked.values()):
            future.result(timeout_s)

    def _reckon(self, key: Key, ensemble: Ensemble) -> None:
        coats, spot, size_mm, coming, _ = key
        try:
            seconds = coat_seconds(coats, spot, size_mm, coming, ensemble)
        except Exception:
            log.exception("how long coats at %s of %g mm will dry cannot be reckoned", spot, size_mm)
            seconds = usual_seconds([coat.kind for coat in coats], ensemble.count)
        with self._lock:
            while len(self._known) >= MOST_KEPT:
                self._known.pop(next(iter(self._known)))
            self._known[key] = seconds
            self._asked.pop(key, None)


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
