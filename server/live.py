"""The live rack: follows every tree as readings and dips come in, and holds the latest picture of them all.

One thread does the judging. Pages and API read the picture, which is replaced whole; what was heard waits
in a queue until the next look. Nothing here is the truth: all of it comes again from what the store keeps.
"""

import logging
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from scheduler.forecast import Outlook
from sensors.air import GAP_LIMIT_MS
from sensors.bridging import REACH_MS
from sensors.clock import DAY_MS, HOUR_MS, Clock, Millis
from sensors.reading import Reading
from server.air_ahead import AirAhead, words_said
from server.air_records import AirRecords
from server.drying.coming_coats import ComingAir
from server.drying.ensemble import Ensemble
from server.drying.whatif import WhatIf
from server.following import Followed, said_dips, save, take_up
from server.foreseeing import Foreseeing, drop_passed
from server.heard import Heard
from server.judged_by import JudgedBy
from server.judging import TreeJudge
from server.outlooks import BlockMeans, Situation, air_points, judge_tree
from server.shop_height import pressure_of
from server.shop_rules import shop_rules
from server.store import readings, trees
from server.store.engine import Engine
from server.store.values import Tree
from server.tree_record import CoatDip
from server.verdicts import Advice, AirPoint, NodeFault, TreeVerdict
from server.what_if_desk import WhatIfDesk

log = logging.getLogger("slowcorner.rack")

SAID_LATE_MS = 7 * DAY_MS
"""A dip may be said so long after it was made [ms]; the air since is kept for it."""

LET_GO_MS = 6 * HOUR_MS
"""How often air that no tree needs any more is let go of [ms]."""


@dataclass
class LiveRack:
    """Every tree on the rack, followed. Start with `open`; `look` goes on to now; `close` ends the thread."""

    engine: Engine
    clock: Clock
    gap_limit: Millis = GAP_LIMIT_MS
    on_picture: Callable[[Mapping[int, TreeVerdict]], None] = lambda _picture: None
    """Hears of each new picture, in the judging thread."""
    _judged_by: JudgedBy = field(init=False, repr=False)
    _airs: AirRecords = field(init=False, repr=False)
    _followed: dict[int, Followed] = field(default_factory=dict)
    _picture: dict[int, TreeVerdict] = field(default_factory=dict)
    _what_if_desk: WhatIfDesk = field(default_factory=WhatIfDesk)
    _foreseeing: Foreseeing = field(init=False, repr=False)
    _faults: tuple[NodeFault, ...] = ()
    _air_let_go: Millis = 0
    _heard: Heard = field(default_factory=Heard)
    _arrived: Millis = 0
    """What came up to this time [ms], and nothing later, is in the air records; a saved state carries it."""
    _thread: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(1, thread_name_prefix="slowcorner-judge")
    )

    def __post_init__(self) -> None:
        self._judged_by = JudgedBy(self.engine)
        self._airs = AirRecords(self.engine, self.gap_limit, pressure_of(self.engine))
        air_ahead = AirAhead(
            lambda place: words_said(self.engine, place, self.clock.now()), self._airs.hour_by_hour
        )
        self._foreseeing = Foreseeing(self.engine, air_ahead, self._heard.pressing.is_set)

    def open(self) -> None:
        """Take up every tree where the store left it, and show it so; the first look goes on from there."""
        self._thread.submit(self._open).result()

    def close(self) -> None:
        """Finish what is being judged and end the thread."""
        self._thread.shutdown(wait=True)

    def hear(self, heard: Sequence[Reading], arrived: Millis) -> None:
        """Take note of readings that are committed and came at `arrived` [ms]; the next look judges them.

        Called in the order of the commits, by one thread; `arrived` rises with each.
        """
        self._heard.add(heard, arrived)

    def look(self, forecast: bool = True) -> Sequence[Outlook]:
        """Go on to now with every tree, with a forecast or with the last one; returns the outlooks."""
        return self._thread.submit(self._look, None, forecast).result()

    def foresee(self) -> Sequence[Outlook]:
        """Forecast from where the trees stand, until time is up or a reading presses; returns the outlooks.

        It takes up nothing that was heard since the last look: what that makes due must not wait for this.
        """
        return self._thread.submit(self._foresee_and_show).result()

    def refresh(self, tree_id: int) -> None:
        """Judge one tree anew because something was said of it; returns when the picture shows it."""
        self._thread.submit(self._refresh, tree_id).result()

    def outlooks(self) -> Sequence[Outlook]:
        """The latest verdict on each tree on the rack."""
        return [verdict.outlook for verdict in self._picture.values()]

    def tree(self, tree_id: int) -> TreeVerdict | None:
        """All that is known of one tree, or None when it is not on the rack."""
        return self._picture.get(tree_id)

    def learn(self, place: str, cause: str) -> None:
        """Have a place learn from its measurements anew, or forget them where the cause is "forgotten".

        Returns at once; its trees are judged by what was learned before the next look is answered.
        """
        self._thread.submit(self._learn, place, cause)

    def advice(self) -> Advice | None:
        """The measurement that is asked for today, None where none is."""
        return self._foreseeing.advice.latest

    def believe_anew(self) -> None:
        """Judge every tree anew by what the shop believes, and its height, as now set; returns at once."""
        self._thread.submit(self._believe_anew)

    def calibrated(self, place: str) -> None:
        """Make a place's air anew by its calibrations, and judge its trees by that; returns at once."""
        self._thread.submit(self._calibrated, place)

    def node_faults(self) -> Sequence[NodeFault]:
        """The faults of nodes that the air records know of, as of the latest look."""
        return self._faults

    def what_if(self, tree_id: int) -> WhatIf | None:
        """What would save time on a tree; worked out in the caller's thread, beside the judging."""
        followed = self._followed.get(tree_id)
        limits = shop_rules(self.engine).limits
        return None if followed is None else self._what_if_desk.ask(tree_id, followed.judge, limits)

    def coming(self, place: str) -> tuple[ComingAir, Ensemble] | None:
        """The air expected at a place, and the members that judge it; None where nothing is known of it."""
        return self._foreseeing.coming.get(place)

    def air_said(self) -> None:
        """Something else is said of the coming air: foretell anew; returns at once."""
        self._thread.submit(self._air_said)

    def air(self, place: str, start: Millis, end: Millis) -> Sequence[AirPoint]:
        """The air record of a place, in steps of a block."""
        return self._thread.submit(self._air_points, place, start, end).result()

    def newest_air(self) -> dict[str, Millis | None]:
        """For each place that has trees or nodes, the time of its newest air [ms]."""
        return self._airs.newest()

    # -- in the judging thread from here on

    def _open(self) -> None:
        now = self.clock.now()
        self._judged_by.renew()
        rack = [self._follow(tree, said_dips(self.engine, tree)) for tree in trees.rack(self.engine)]
        marks = [take_up(self.engine, followed) for followed in rack]
        mark = min((mark for mark in marks if mark is not None), default=0)
        since = self._air_since(now, rack)
        # First what the saved states had been judged with; then the rest, as if it came now.
        changed = self._airs.load(since, now + HOUR_MS, mark)
        self._followed = {followed.tree.id: followed for followed in rack}
        self._rewind(changed)
        self._arrived = max(mark, readings.newest_arrival(self.engine))
        self._show(now, None)

    def _look(self, only: int | None, forecast: bool) -> Sequence[Outlook]:
        now = self.clock.now()
        self._take_heard()
        moved = []
        for tree_id, followed in self._followed.items():
            if only in (None, tree_id):
                if followed.judge.advance(now):
                    moved.append(followed)
                drop_passed(followed)
        if forecast:
            self._foresee(now, only)
        save(self.engine, moved, self._arrived)
        if now - self._air_let_go > LET_GO_MS:
            self._air_let_go = now
            self._airs.forget(self._air_since(now, list(self._followed.values())))
        self._show(now, only)
        return self.outlooks()

    def _air_since(self, now: Millis, rack: Sequence[Followed]) -> Millis:
        """From when on the air is needed [ms]: for the trees there are, and for a dip that is said late."""
        first_dips = [followed.judge.dips[0].at for followed in rack if followed.judge.dips]
        return min(*first_dips, now - SAID_LATE_MS, now) - self.gap_limit - REACH_MS

    def _take_heard(self) -> None:
        heard, arrived = self._heard.take()
        self._arrived = max(self._arrived, arrived)
        self._rewind(self._airs.hear(heard))

    def _rewind(self, changed: Mapping[str, Millis]) -> None:
        """Go back with every tree that hung where the air is not what it was, as far as that reaches."""
        for followed in self._followed.values():
            times = [time for place, time in changed.items() if place in followed.air.places]
            if times:
                followed.judge.rewind(min(times))

    def _foresee(self, now: Millis, only: int | None) -> None:
        rack = list(self._followed.values())
        trees = [followed for followed in rack if only in (None, followed.tree.id)]
        self._foreseeing.look(trees, rack, self._airs, self._judged_by.ensemble_of, now)

    def _foresee_and_show(self) -> Sequence[Outlook]:
        now = self.clock.now()
        self._foresee(now, None)
        if not self._heard.pressing.is_set():  # else the look that comes at once shows it
            self._show(now, None)
        return self.outlooks()

    def _air_said(self) -> None:
        self._foreseeing.air.forget()
        for followed in self._followed.values():
            followed.forecast = None
        self._look(None, forecast=True)

    def _show(self, now: Millis, only: int | None) -> None:
        picture = dict(self._picture) if only is not None else {}
        rules = shop_rules(self.engine)
        means = BlockMeans()
        for tree_id, followed in self._followed.items():
            if only in (None, tree_id):
                heard, air = followed.air.latest() or (None, None)
                nodes = self._airs.of(followed.tree.place).node_names
                situation = Situation(now, heard, air, rules.gap_limit, rules.limits, nodes)
                verdict = judge_tree(followed.tree, followed.judge, followed.forecast, situation, means)
                picture[tree_id] = self._foreseeing.warnings.add(verdict, followed.judge, now, rules)
        self._faults = self._airs.faults()
        self._paint(picture)

    def _paint(self, picture: dict[int, TreeVerdict]) -> None:
        self._picture = picture
        self.on_picture(picture)

    def _refresh(self, tree_id: int) -> None:
        tree = trees.tree(self.engine, tree_id)
        if tree is None or tree.left:
            self._followed.pop(tree_id, None)
            self._paint({key: value for key, value in self._picture.items() if key != tree_id})
            return
        if self._airs.renew(tree.place, self.clock.now(), self._arrived):
            self._judge_anew(tree.place)
        followed = self._followed.get(tree_id)
        judged = self._judged_by.tree(tree, self._airs.pressure_pa)
        if followed is None or judged != followed.judge.tree or tree.place != followed.tree.place:
            followed = self._follow(tree, ())
            self._followed[tree_id] = followed
        followed.tree = tree
        said = said_dips(self.engine, tree)
        self._reach_back(said)
        followed.judge.say_dips(said)
        followed.forecast = None
        self._look(tree_id, forecast=True)

    def _reach_back(self, said: Sequence[CoatDip]) -> None:
        """Read air again that was let go of, for a tree that hung before: what is judged stays as it is."""
        since = said[0].at - self.gap_limit - REACH_MS if said else self.clock.now()
        if self._airs.reach_back(since, self.clock.now(), self._arrived):
            for followed in self._followed.values():
                followed.air = followed.judge.air = self._airs.along(followed.tree.id)

    def _follow(self, tree: Tree, said: tuple[CoatDip, ...]) -> Followed:
        air = self._airs.along(tree.id)
        judged = self._judged_by.tree(tree, self._airs.pressure_pa)
        judge = TreeJudge(judged, said, air, ensemble=self._judged_by.ensemble_of(tree.place))
        return Followed(tree, judge, air)

    def _judge_anew(self, place: str) -> None:
        """Judge every tree from its first dip that ever hung in a place whose record was made anew."""
        for followed in self._followed.values():
            if place in followed.air.places:
                followed.air = followed.judge.air = self._airs.along(followed.tree.id)
                followed.judge.rewind(0)
                followed.forecast = None

    def _believe_anew(self) -> None:
        self._take_heard()
        self._judged_by.renew()
        pressure = pressure_of(self.engine)
        if pressure != self._airs.pressure_pa:
            self._airs.at_pressure(pressure, self.clock.now(), self._arrived)
        for tree_id, followed in self._followed.items():
            self._followed[tree_id] = self._follow(followed.tree, followed.judge.dips)
        self._look(None, forecast=True)

    def _calibrated(self, place: str) -> None:
        self._take_heard()
        self._airs.calibrated(place, self.clock.now(), self._arrived)
        self._foreseeing.air.forget()
        self._judge_anew(place)
        self._look(None, forecast=True)

    def _learn(self, place: str, cause: str) -> None:
        self._take_heard()
        try:
            believed = self._judged_by.learn(place, cause, self.clock.now())
        except Exception:
            # Verdicts go on by what was believed before; the measurement is kept for the next time.
            log.exception("%s: nothing could be learned", place)
            return
        for followed in self._followed.values():
            if followed.tree.place == place:
                followed.judge.believe(believed)
                followed.forecast = None
        self._look(None, forecast=True)

    def _air_points(self, place: str, start: Millis, end: Millis) -> Sequence[AirPoint]:
        return air_points(self._airs.of(place), start, end, BlockMeans())
