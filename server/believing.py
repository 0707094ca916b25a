"""What the shop believes before it learns: how many members, drawn how, and how sure a verdict must be.

The shop's settings, all optional: `members` (a number), `ensemble_seed` (a number), `priors` ({name: [low,
centre, high]}, see `server.drying.priors`), `confidence` (a share). A draw that takes long is kept in the
store.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from server.drying.drawing import MOST_MEMBERS, SEED, default_count, drawn, drawn_points, is_default, key_of
from server.drying.ensemble import CONFIDENCE, Ensemble
from server.drying.priors import PRIORS, Prior, members_at, priors_from
from server.store import shop
from server.store.engine import Engine

LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.5, 0.99


class BeliefError(ValueError):
    """A setting that cannot be: the message names it, the value and the limit."""


@dataclass(frozen=True)
class Believed:
    """The settings as they are, checked."""

    members: int
    seed: int = SEED
    priors: tuple[Prior, ...] = PRIORS
    confidence: float = CONFIDENCE


def believed(engine: Engine) -> Believed:
    """What the shop is set to. Raises BeliefError or PriorError for a setting that cannot be."""
    members = shop.setting(engine, "members")
    seed = shop.setting(engine, "ensemble_seed")
    confidence = shop.setting(engine, "confidence")
    return Believed(
        members=default_count() if members is None else _whole("members", members, 1, MOST_MEMBERS),
        seed=SEED if seed is None else _whole("ensemble_seed", seed, 0, 2**31),
        priors=priors_from(shop.setting(engine, "priors")),
        confidence=CONFIDENCE if confidence is None else _share("confidence", confidence),
    )


def set_believed(engine: Engine, **said: Any) -> Believed:
    """Set some of `members`, `ensemble_seed`, `priors`, `confidence`; all or, where one cannot be, none."""
    checks: dict[str, Callable[[Any], object]] = {
        "members": lambda value: _whole("members", value, 1, MOST_MEMBERS),
        "ensemble_seed": lambda value: _whole("ensemble_seed", value, 0, 2**31),
        "priors": priors_from,
        "confidence": lambda value: _share("confidence", value),
    }
    for name, value in said.items():
        if name not in checks:
            raise BeliefError(f"setting {name!r} is not one of {', '.join(checks)}")
        if value is not None:
            checks[name](value)
    for name, value in said.items():
        shop.set_setting(engine, name, value)
    return believed(engine)


def prior_ensemble(engine: Engine, settings: Believed) -> Ensemble:
    """The members as drawn, nothing learned yet. Takes some seconds the first time settings are not usual."""
    if settings.members == 1 or is_default(settings.members, settings.seed, settings.priors):
        return drawn(settings.members, settings.seed, settings.priors)
    key = key_of(settings.members, settings.seed, settings.priors)
    kept = shop.setting(engine, "drawn_members")
    if kept is None or kept["key"] != key:
        points = drawn_points(settings.members, settings.seed, settings.priors)
        shop.set_setting(engine, "drawn_members", {"key": key, "points": points.tolist()})
    else:
        points = np.array(kept["points"])
    weights = np.full(settings.members, 1.0 / settings.members)
    return Ensemble(members_at(points, settings.priors), weights, seed=settings.seed)


def _whole(name: str, value: Any, least: int, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise BeliefError(f"setting {name}: {value!r} is not a whole number from {least} to {most}")
    return value


def _share(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BeliefError(f"setting {name}: {value!r} is not a finite number")
    if not LEAST_CONFIDENCE <= value <= MOST_CONFIDENCE:
        raise BeliefError(f"setting {name}: {value:g} is outside {LEAST_CONFIDENCE:g} to {MOST_CONFIDENCE:g}")
    return float(value)
