"""What is believed before anything was measured: one readable table, and members as points on its axes.

Each row is a distribution by three figures. Of a `normal` or `lognormal` one in ten lies below `low`, half
below `centre`, one in ten above `high`; an `even` or `even log` one has half of its weight spread evenly from
`low` to `centre` and half from there to `high`, and nothing beyond. A person may change the three figures in
the shop's settings; nothing else here.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from server.drying.exposure import SLOW_Z
from server.drying.materials import Members, coat_kind, kind_column

Floats = NDArray[np.float64]

Form = Literal["normal", "lognormal", "even", "even log"]

_ROUND = 1e-12

# Not SciPy's: the little there is to reckon is not worth its 15 MB of memory.
_erf = np.vectorize(math.erf, otypes=[np.float64])
_deviate = np.vectorize(NormalDist().inv_cdf, otypes=[np.float64])


class PriorError(ValueError):
    """A prior that cannot be: the message names it, the figure and the limit."""


@dataclass(frozen=True)
class Prior:
    """What is believed of one figure; `least` and `most` are the limits within which a person may set it."""

    name: str
    meaning: str
    unit: str
    form: Form
    low: float
    centre: float
    high: float
    least: float
    most: float
    source: str

    def values(self, deviates: Floats) -> Floats:
        """The figure at standard normal deviates, within what a person may set it to."""
        low, centre, high = self._scaled(np.array([self.low, self.centre, self.high]))
        normal = self.form in ("normal", "lognormal")
        share = deviates / SLOW_Z if normal else _erf(deviates / math.sqrt(2.0))
        scaled = centre + np.where(share < 0.0, (centre - low) * share, (high - centre) * share)
        found = np.exp(scaled) if "log" in self.form else scaled
        return np.asarray(np.clip(found, self.least, self.most))

    def deviates(self, values: Floats) -> Floats:
        """Standard normal deviates at which the figure has these values: `values` undone."""
        low, centre, high = self._scaled(np.array([self.low, self.centre, self.high]))
        off = self._scaled(values) - centre
        width = np.where(off < 0.0, centre - low, high - centre)
        share = np.divide(off, width, out=np.zeros_like(off), where=width > 0.0)
        if self.form in ("normal", "lognormal"):
            return np.asarray(share * SLOW_Z)
        return np.asarray(_deviate(np.clip(0.5 * (share + 1.0), _ROUND, 1.0 - _ROUND)))

    def _scaled(self, values: Floats) -> Floats:
        return np.log(values) if "log" in self.form else values


def _kinds(name: str, meaning: str, low: float, high: float, least: float, most: float) -> tuple[Prior, ...]:
    return tuple(
        Prior(f"{name}_{kind}", f"{meaning} of a {kind} coat over a backup coat's", "-", "lognormal",
              low, 1.0, high, least, most, "assumed")
        for kind in ("prime", "seal")
    )  # fmt: skip


PRIORS: tuple[Prior, ...] = (
    Prior("air_speed", "air at the tree over the speed that was set for its place", "-", "lognormal",
          0.681, 1.0, 1.469, 0.05, 10.0, "assumed: set by hand, standard deviation of the logarithm 0.3"),
    Prior("film_spread", "standard deviation of the film's logarithm over a face", "-", "normal",
          0.508, 0.7, 0.892, 0.05, 1.5, "0.68 follows the trial if water moves fast inside; ± 0.15 assumed"),
    Prior("water", "water that a dip brings over the recipe's", "-", "lognormal",
          0.87, 1.0, 1.15, 0.5, 2.0, "known to ± 3 % from the trial if the air is; slurries differ: assumed"),
    Prior("diffusivity", "diffusivity of a dry backup coat over 1e-8 m²/s", "-", "even log",
          0.003, 0.1, 2.0, 1e-4, 10.0, "the trial leaves 3e-11 to 1e-8 open; the upper end is assumed"),
    Prior("exponent", "b of diffusivity exp(b S), by which it grows with wetness", "-", "even",
          2.0, 4.0, 8.0, 0.0, 10.0, "the trial leaves 2 to 8 open"),
    Prior("rewetting", "how much less readily a coat that has dried once drinks", "-", "even log",
          1.0, 55.0, 3000.0, 1.0, 1e4, "the trial leaves 1 to 3000 open"),
    Prior("joint_layer", "still air over a joint, over the film of the face beside it", "-", "lognormal",
          0.681, 1.0, 1.469, 0.1, 10.0, "assumed: standard deviation of the logarithm 0.3"),
    Prior("lee", "where in the film's spread joints and pockets lie; below 0 is the lee", "-", "normal",
          -SLOW_Z, 0.0, SLOW_Z, -4.0, 4.0, "by the meaning of the film's spread"),
    Prior("temp_k", "what is to be added to a temperature as read", "K", "even",
          -0.2, 0.0, 0.2, -3.0, 3.0, "data sheets of usual digital sensors, ± 0.2 K (from memory)"),
    Prior("rh_pct", "what is to be added to a humidity as read", "%RH", "even",
          -2.0, 0.0, 2.0, -15.0, 15.0, "data sheets of usual digital sensors, ± 2 %RH (from memory)"),
    *_kinds("water", "what a dip brings", 0.93, 1.07, 0.5, 2.0),
    *_kinds("diffusivity", "dry diffusivity", 0.5, 2.0, 0.01, 100.0),
    *_kinds("rewetting", "re-wetting factor", 0.5, 2.0, 0.01, 100.0),
)  # fmt: skip
"""Every axis of a member, in the order of a point's coordinates. The fillet is the same for all: 2 mm unless
said, see `Members.fillet`; what is not known of it rides on the joint's layer and on the water."""

_BY_KIND = (("water", 0.25, 4.0), ("diffusivity", 1e-6, 1e3), ("rewetting", 1.0, 1e4))


def names(priors: tuple[Prior, ...] = PRIORS) -> tuple[str, ...]:
    """The axes by name."""
    return tuple(prior.name for prior in priors)


def members_at(points: Floats, priors: tuple[Prior, ...] = PRIORS) -> Members:
    """Members at points (M, axes) of a space in which every prior is a standard normal.

    >>> members_at(np.zeros((2, len(PRIORS)))).air_speed.tolist()
    [1.0, 1.0]
    """
    found = {prior.name: prior.values(points[:, axis]) for axis, prior in enumerate(priors)}
    by_kind = {}
    for name, least, most in _BY_KIND:
        backup = found[name]
        columns = [backup * found[f"{name}_prime"], backup, backup * found[f"{name}_seal"]]
        by_kind[name] = np.clip(np.stack(columns, axis=1), least, most)
    alone = ("air_speed", "film_spread", "exponent", "joint_layer", "lee", "temp_k", "rh_pct")
    return Members(fillet=np.ones(len(points)), **{name: found[name] for name in alone}, **by_kind)


def points_of(members: Members, priors: tuple[Prior, ...] = PRIORS) -> Floats:
    """Points (M, axes) that `members_at` makes these members of; where a limit cut them, one that does."""
    columns = []
    for prior in priors:
        base, _, kind = prior.name.rpartition("_")
        if kind in ("prime", "seal"):
            of_kind = getattr(members, base)
            values = (
                of_kind[:, kind_column(coat_kind(kind))] / of_kind[:, 1]
                if of_kind.ndim == 2
                else np.ones(len(of_kind))
            )
        else:
            values = getattr(members, prior.name)
            values = values[:, 1] if values.ndim == 2 else values
        columns.append(prior.deviates(values))
    return np.stack(columns, axis=1)


def priors_from(said: Mapping[str, Any] | None) -> tuple[Prior, ...]:
    """The table with what a person changed, {name: [low, centre, high]}.

    Raises PriorError naming the prior, the figure and its limits.

    >>> priors_from({"film_spread": [0.5, 0.6, 9]})
    Traceback (most recent call last):
    ...
    server.drying.priors.PriorError: prior film_spread: high 9 is outside 0.05 to 1.5
    """
    changed = dict(said or {})
    unknown = sorted(set(changed) - set(names()))
    if unknown:
        raise PriorError(f"prior {unknown[0]!r} is not one of {', '.join(names())}")
    return tuple(_changed(prior, changed[prior.name]) if prior.name in changed else prior for prior in PRIORS)


def _changed(prior: Prior, said: Any) -> Prior:
    if not isinstance(said, list | tuple) or len(said) != 3:
        raise PriorError(f"prior {prior.name}: {said!r} is not [low, centre, high]")
    figures = []
    for word, value in zip(("low", "centre", "high"), said, strict=True):
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise PriorError(f"prior {prior.name}: {word} {value!r} is not a finite number")
        if not prior.least <= value <= prior.most:
            raise PriorError(
                f"prior {prior.name}: {word} {value:g} is outside {prior.least:g} to {prior.most:g}"
            )
        figures.append(float(value))
    low, centre, high = figures
    if not low <= centre <= high:
        raise PriorError(f"prior {prior.name}: {low:g}, {centre:g}, {high:g} do not rise")
    return replace(prior, low=low, centre=centre, high=high)
