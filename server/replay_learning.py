"""What a replayed shop learned, and when: from the measurements that its file of coats holds."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from sensors.air import PlaceAir
from sensors.clock import HOUR_MS, Millis
from server.drying import surface_temp, weighing
from server.drying.ensemble import Ensemble
from server.drying.learning import Told
from server.learning_record import MeasuredTree, learn
from server.tree_record import CoatDip

Said = tuple[Millis, Told]


@dataclass(frozen=True)
class ReplayedTree:
    """A tree of the file with what was measured on it, by time; `coat` of each is set here."""

    place: str
    size_mm: float
    area_m2: float | None
    dips: tuple[CoatDip, ...]
    said: tuple[Said, ...]


@dataclass
class Lessons:
    """What is believed of each place once what was measured up to a time is learned; each is learned once."""

    prior: Ensemble
    trees: Sequence[ReplayedTree]
    airs: Mapping[str, PlaceAir]
    _learned: dict[tuple[str, int], Ensemble] = field(default_factory=dict)

    def count(self, place: str, until: Millis) -> int:
        """How many measurements of a place were made by then."""
        return sum(1 for tree in self.trees if tree.place == place for at, _ in tree.said if at <= until)

    def believed(self, place: str, until: Millis) -> Ensemble:
        """The members by which trees there are judged by then."""
        count = self.count(place, until)
        if count == 0:
            return self.prior
        if (place, count) not in self._learned:
            trees = [self._until(tree, until) for tree in self.trees if tree.place == place]
            self._learned[place, count] = learn(self.prior, trees, count).ensemble
        return self._learned[place, count]

    def _until(self, tree: ReplayedTree, until: Millis) -> MeasuredTree:
        said = [
            (at, placed(one, at, tree.dips, self.airs[tree.place])) for at, one in tree.said if at <= until
        ]
        good = [(at, one) for at, one in said if one is not None]
        return MeasuredTree(
            tree.size_mm,
            tree.area_m2,
            tree.dips,
            self.airs[tree.place],
            tuple(one for _, one in good),
            tuple(at for at, _ in good),
        )


def placed(one: Told, at: Millis, dips: Sequence[CoatDip], air: PlaceAir) -> Told | None:
    """A measurement with the coat it was made on; None where there was none yet, or no air to compare with.

    A surface temperature, so far as it was read [°C], becomes what it is cooler than the air [K].
    """
    coat = sum(1 for dip in dips if dip.at <= at)
    if coat == 0:
        return None
    if one.kind == "weighing":
        return replace(one, coat=coat, error=weighing.SCALE_ERROR_KG)
    if one.kind != "surface_temp":
        return replace(one, coat=coat)
    latest = air.mean(at - HOUR_MS // 3, at)
    if latest is None:
        return None
    return replace(one, coat=coat, value=float(latest.temp_c) - one.value, error=surface_temp.ERROR_TO_AIR_K)
