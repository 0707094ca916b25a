"""What a place has learned, in plain words with its evidence: for pages and the API."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.believing import believed, prior_ensemble
from server.drying.ensemble import Ensemble
from server.drying.learning import DISBELIEVED
from server.drying.materials import KINDS, coat_kind, kind_column
from server.drying.priors import names, points_of
from server.learning_desk import newest
from server.store import ensembles, measurements, trees
from server.store.engine import Engine
from server.store.values import Measurement

Floats = NDArray[np.float64]

TOLD = 0.8
"""A figure is spoken of once its spread is down to this share of what it was [-]."""

KIND_WORDS = {
    "weighing": ("weighing", "weighings"),
    "surface_temp": ("surface temperature", "surface temperatures"),
    "touch": ("touch", "touches"),
    "colour": ("look at the colour", "looks at the colour"),
}

_FACTORS = {
    "air_speed": "the air moves {value} x what was set for it, ± {off}",
    "water": "a dip brings {value} x the recipe’s water, ± {off}",
    "joint_layer": "the still air over joints is {value} x as thick as was thought, ± {off}",
}
_SHIFTS = {
    "temp_k": "the thermometers of the air are off by {value} K, ± {off}",
    "rh_pct": "the humidity sensors are off by {value} %RH, ± {off}",
    "film_spread": "windward and lee differ by {value} (0.7 was thought), ± {off}",
}
_BESIDE_BACKUP = {
    "water": "a {kind} dip brings {value} x as much over its recipe as a backup dip does ({low} to {high} x)",
    "diffusivity": "water moves {value} x as fast in {kind} coats as in backup coats ({low} to {high} x)",
    "rewetting": "dry {kind} coats drink {value} x less readily than dry backup coats ({low} to {high} x)",
}
"""Of the other kinds of coat only what sets them apart from backup coats is drawn, see `priors`."""


@dataclass(frozen=True)
class WhatWasLearned:
    """Of one place: sentences, from what, which measurements are disbelieved (their ids), and how often it
    learned or forgot."""

    sentences: tuple[str, ...]
    evidence: str
    disbelieved: tuple[int, ...]
    generation: int


def what_was_learned(engine: Engine, place: str) -> WhatWasLearned:
    """What a place has learned so far."""
    kept = ensembles.latest(engine, place)
    if kept is None:
        return WhatWasLearned((), "", (), 0)
    settings = believed(engine)
    prior = prior_ensemble(engine, settings)
    now = newest(engine, place, prior)
    said = {one.id: one for one in measurements.place_measurements(engine, place)}
    used = [said[number] for number, _ in kept.evidence if number in said]
    doubted = tuple(number for number, share in kept.evidence if share > DISBELIEVED and number > 0)
    cell = sum(1 for number, share in kept.evidence if number < 0 and share <= DISBELIEVED)
    good = [one for one in used if one.id not in doubted]
    sentences = () if not good and not cell else tuple(_sentences(prior, now))
    words = [evidence_words(engine, good)] if good else []
    if cell:
        words.append(f"{cell} point{'s' * (cell > 1)} of load cells")
    return WhatWasLearned(sentences, _listed(words) if words else "", doubted, kept.generation)


def evidence_words(engine: Engine, used: Sequence[Measurement]) -> str:
    """From what something was learned: "3 weighings and 1 touch on Heron"; empty from nothing."""
    if not used:
        return ""
    counts = Counter(one.kind for one in used)
    parts = [f"{count} {KIND_WORDS[kind][count > 1]}" for kind, count in counts.items()]
    labels = []
    for tree_id in dict.fromkeys(one.tree_id for one in used):
        tree = trees.tree(engine, tree_id)
        if tree is not None:
            labels.append(tree.label)
    return f"{_listed(parts)} on {_listed(labels)}"


def _sentences(prior: Ensemble, now: Ensemble) -> list[str]:
    axes = names()
    before, after = points_of(prior.members), points_of(now.members)
    found = []
    for index, axis in enumerate(axes):
        was, spread = (_deviation(points[:, index], weights) for points, weights in (
            (before, prior.weights), (after, now.weights)
        ))  # fmt: skip
        if not was > 0.0 or spread > TOLD * was:
            continue
        words = _figure(axis, prior, now)
        if words:
            found.append((spread / was, words))
    return [words for _, words in sorted(found)]


def _figure(axis: str, prior: Ensemble, now: Ensemble) -> str:
    """One figure in words; empty for those that mean nothing to a caster."""
    name, _, kind = axis.rpartition("_")
    if name in _BESIDE_BACKUP and kind in KINDS:
        of_kinds = getattr(now.members, name)
        low, middle, high = now.spread(
            of_kinds[:, kind_column(coat_kind(kind))] / of_kinds[:, kind_column("backup")]
        )
        return _BESIDE_BACKUP[name].format(
            kind=kind, value=f"{middle:.2g}", low=f"{low:.2g}", high=f"{high:.2g}"
        )
    values = getattr(now.members, axis, None)
    if values is None:
        return ""
    values = values[:, 1] if values.ndim == 2 else values
    low, middle, high = now.spread(values)
    if axis in _FACTORS or axis in _SHIFTS:
        words = _FACTORS.get(axis) or _SHIFTS[axis]
        return words.format(value=f"{middle:.2g}", off=f"{max(0.5 * (high - low), 0.01):.1g}")
    first = getattr(prior.members, axis)
    usual = prior.quantile(first[:, 1] if first.ndim == 2 else first, 0.5)
    if axis == "diffusivity":
        way = "faster" if middle >= usual else "slower"
        times = max(middle / usual, usual / middle)
        return (
            f"water moves through the coats {times:.2g} x {way} than was thought "
            f"({low / usual:.1g} to {high / usual:.1g} x)"
        )
    if axis == "rewetting":
        return f"dry coats drink {middle:.2g} times less readily than fresh ones ({low:.1g} to {high:.1g})"
    if axis == "lee":
        return "joints and pockets lie in the lee" if middle < 0.0 else "joints and pockets lie in the wind"
    return ""


def _deviation(values: Floats, weights: Floats) -> float:
    mean = weights @ values
    return float(np.sqrt(weights @ np.square(values - mean)))


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
