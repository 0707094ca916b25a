"""What other air would save on a coat that is not on yet: a fan, drier or warmer air, on backup coats alone.

Each member is held against itself, over the spots that stand for the tree's. Joints of a tree that hangs are
what they are, so none is opened here; and what may hurt a shell is refused as in a what-if.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from server.drying.coming_coats import ComingAir, Floats, one_coat_seconds
from server.drying.ensemble import Ensemble
from server.drying.materials import CoatMaterial
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimits
from server.drying.whatif import Change, compared, other_airs


def time_bought(
    coats: Sequence[CoatMaterial],
    on: int,
    spots: Sequence[str],
    size_mm: float,
    coming: ComingAir,
    ensemble: Ensemble,
    limits: WarningLimits = DEFAULT_LIMITS,
) -> tuple[int, tuple[Change, ...]]:
    """How many backup coats are still to go on after so many that are `on`, and what saves time on each.

    coats: of the whole recipe. spots: codes. size_mm: length of the faces along the air [mm]. Takes seconds.
    The last coat is left out: it dries through and rests. (0, ()) where no backup coat is to come.
    """
    layers = [n for n, coat in enumerate(coats[:-1], start=1) if n > on and coat.kind == "backup"]
    if not layers:
        return 0, ()
    # The deepest of them stands for all, as in the plan; what is refused on the first is refused.
    newest, changes = tuple(coats[: layers[-1]]), []
    before = _seconds(newest, tuple(spots), size_mm, coming, ensemble)
    for code, words, refused, air in other_airs("backup", layers[0], coming.air, "", limits):
        if refused:
            changes.append(Change(code, words, refused))
        else:
            after = _seconds(newest, tuple(spots), size_mm, replace(coming, air=air), ensemble)
            changes.append(compared(code, words, before, after, ensemble))
    return len(layers), tuple(changes)


@lru_cache(maxsize=64)
def _seconds(
    coats: tuple[CoatMaterial, ...],
    spots: tuple[str, ...],
    size_mm: float,
    coming: ComingAir,
    ensemble: Ensemble,
) -> Floats:
    """The slowest spot's time by each member (M,) [s]. Kept: pages are looked at again."""
    times = [one_coat_seconds(coats, None, spot, size_mm, coming, ensemble) for spot in spots]
    return np.asarray(np.max(times, axis=0))
