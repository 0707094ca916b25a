"""What the trees on the rack are judged by: what the shop set, and the members believed at each place.

It is read of the store once, and again when it is said that something of it was set anew.
"""

from dataclasses import dataclass, field, replace

from sensors.clock import Millis
from server.believing import Believed, believed, prior_ensemble
from server.dry_rules import dry_limit_of
from server.drying.ensemble import Ensemble
from server.drying.materials import DRY_THROUGH_LIMIT
from server.following import judged_tree
from server.learning_desk import newest, relearn
from server.store.engine import Engine
from server.store.values import Tree
from server.tree_record import JudgedTree


@dataclass
class JudgedBy:
    """Used by the judging thread; `renew` first."""

    engine: Engine
    _settings: Believed = field(default_factory=lambda: Believed(members=1))
    _dry_limit: float = DRY_THROUGH_LIMIT
    _ensembles: dict[str, Ensemble] = field(default_factory=dict)

    def renew(self) -> None:
        """Read anew what the shop set. Raises BeliefError or PriorError for a setting that cannot be."""
        self._settings = believed(self.engine)
        self._dry_limit = dry_limit_of(self.engine)
        self._ensembles.clear()

    def tree(self, tree: Tree, pressure_pa: float) -> JudgedTree:
        """A tree of the store as the judge takes it, in air of that pressure [Pa]."""
        return replace(
            judged_tree(tree),
            confidence=self._settings.confidence,
            pressure_pa=pressure_pa,
            dry_limit=self._dry_limit,
        )

    def ensemble_of(self, place: str) -> Ensemble:
        """The members that judge what hangs at a place."""
        if place not in self._ensembles:
            self._ensembles[place] = newest(self.engine, place, prior_ensemble(self.engine, self._settings))
        return self._ensembles[place]

    def learn(self, place: str, cause: str, now: Millis) -> Ensemble:
        """Have a place learn from all that was measured there; the members that are believed from now on."""
        prior = prior_ensemble(self.engine, self._settings)
        self._ensembles[place] = relearn(self.engine, place, prior, self._settings.priors, cause, now)
        return self._ensembles[place]
