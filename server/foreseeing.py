"""What is to come: when each tree that is followed will be fit, its night, and the air at its place.

All of it gives way to a reading that may make a tree fit.
"""

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from sensors.clock import Millis
from server.advising import AdviceDesk, Foreseen
from server.air_ahead import AirAhead
from server.air_records import AirRecords
from server.drying.coming_coats import ComingAir
from server.drying.ensemble import Ensemble
from server.following import Followed, needs_forecast
from server.outlooks import forecast_of
from server.shop_rules import shop_rules
from server.store.engine import Engine
from server.tree_warnings import TreeWarnings

FORECAST_BUDGET_S = 0.4
"""Wall seconds of forecasting in one look; the stalest go first and the rest wait their turn."""


@dataclass
class Foreseeing:
    """Used by the judging thread; `coming` and `advice.latest` may be read by any.

    `gives_way` says whether something waits that goes first.
    """

    engine: Engine
    air: AirAhead
    gives_way: Callable[[], bool]
    warnings: TreeWarnings = field(default_factory=TreeWarnings)
    advice: AdviceDesk = field(default_factory=AdviceDesk)
    coming: dict[str, tuple[ComingAir, Ensemble]] = field(default_factory=dict)
    """The air expected at each place, and the members that judge it; replaced whole."""

    def look(
        self,
        trees: Sequence[Followed],
        rack: Sequence[Followed],
        airs: AirRecords,
        ensemble_of: Callable[[str], Ensemble],
        now: Millis,
    ) -> None:
        """Foresee what is to come of some trees, and the air where any tree of the rack hangs."""
        self._forecast(trees, airs)
        self._expect({followed.tree.place for followed in rack}, airs, ensemble_of, now)
        rules = shop_rules(self.engine)
        for followed in trees:
            if self.gives_way():
                return
            self.warnings.foresee(followed.tree.id, followed.judge, now, rules)
        if not self.gives_way():
            self.advice.look(self.engine, lambda: foreseen(rack), now)

    def _forecast(self, trees: Iterable[Followed], airs: AirRecords) -> None:
        """Forecast one tree at least, the stalest first, until time is up or something goes first."""
        stale = sorted(
            (followed for followed in trees if needs_forecast(followed)),
            key=lambda followed: followed.forecast.made_at if followed.forecast else 0,
        )
        began = time.monotonic()
        for followed in stale:
            state = followed.judge.state
            if state is None or state.air is None:
                continue
            place = followed.tree.place
            course = self.air.course(place, airs.of(place), state.at, state.air)
            followed.forecast = forecast_of(followed.judge, state.at, followed.judge.ahead(course))
            if self.gives_way() or time.monotonic() - began > FORECAST_BUDGET_S:
                return

    def _expect(
        self, places: Iterable[str], airs: AirRecords, ensemble_of: Callable[[str], Ensemble], now: Millis
    ) -> None:
        """Foretell the air at these places anew."""
        coming = {}
        for place in places:
            air = self.air.on_the_whole(place, airs.of(place), now)
            if air is not None:
                coming[place] = air, ensemble_of(place)
        self.coming = coming


def drop_passed(followed: Followed) -> None:
    """Let go of a forecast that was made from a state which was taken back since."""
    state = followed.judge.state
    if followed.forecast is not None and (state is None or followed.forecast.made_at > state.at):
        followed.forecast = None


def foreseen(trees: Iterable[Followed]) -> list[Foreseen]:
    """What could be measured on these trees: those that have a forecast and are not fit yet."""
    found = []
    for followed in trees:
        tree, judge, ahead = followed.tree, followed.judge, followed.forecast
        state = judge.state
        if state is None or state.air is None or ahead is None or state.coats[-1].fit_at:
            continue
        codes = [code for code, _ in judge.tree.spots]
        found.append(
            Foreseen(tree.id, tree.area_m2, codes, ahead.made_at, ahead.spots, state.air, judge.ensemble)
        )
    return found
