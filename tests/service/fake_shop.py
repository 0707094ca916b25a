"""A made-up shop for tests of pages and API: a real store, and a rack whose verdicts are set by hand."""

import asyncio
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import httpx
from sqlalchemy import Engine

from scheduler.forecast import NEVER, Outlook, Quantiles, State
from sensors.air import Air
from sensors.clock import HOUR_MS, MINUTE_MS, Millis, SetClock, parse_time
from sensors.reading import Reading
from sensors.senml import Parsed
from server.air_history import AirHistory
from server.changes import Changes
from server.drying.coming_coats import ComingAir
from server.drying.ensemble import ALONE, Ensemble
from server.drying.whatif import WhatIf
from server.parts import Parts, Readiness
from server.store import dips as dip_store
from server.store import places as place_store
from server.store import readings as reading_store
from server.store import recipes as recipe_store
from server.store import shop as shop_store
from server.store import trees as tree_store
from server.store.values import NewDip, NewTree, Place, Subscription, Tree, TreeSpot
from server.verdicts import Advice, AirPoint, CoatVerdict, NodeFault, SpotVerdict, TreeVerdict
from server.web import web_app

NOON = parse_time("2026-03-02T12:00:00Z")
BLOCK_MS = 10 * MINUTE_MS


@dataclass
class FakeRack:
    """Verdicts as a test sets them; `refreshed` notes which trees were judged anew."""

    verdicts: dict[int, TreeVerdict] = field(default_factory=dict)
    airs: dict[str, tuple[AirPoint, ...]] = field(default_factory=dict)
    what_ifs: dict[int, WhatIf] = field(default_factory=dict)
    refreshed: list[int] = field(default_factory=list)
    learned: list[tuple[str, str]] = field(default_factory=list)
    believed_anew: int = 0
    air_saids: int = 0
    calibrated_places: list[str] = field(default_factory=list)
    advised: Advice | None = None
    faults: tuple[NodeFault, ...] = ()
    on_refresh: Callable[[int], None] = lambda tree_id: None

    def outlooks(self) -> Sequence[Outlook]:
        return [verdict.outlook for verdict in self.verdicts.values()]

    def tree(self, tree_id: int) -> TreeVerdict | None:
        return self.verdicts.get(tree_id)

    def refresh(self, tree_id: int) -> None:
        self.refreshed.append(tree_id)
        self.on_refresh(tree_id)

    def learn(self, place: str, cause: str) -> None:
        self.learned.append((place, cause))

    def advice(self) -> Advice | None:
        return self.advised

    def believe_anew(self) -> None:
        self.believed_anew += 1

    def calibrated(self, place: str) -> None:
        self.calibrated_places.append(place)

    def node_faults(self) -> Sequence[NodeFault]:
        return self.faults

    def what_if(self, tree_id: int) -> WhatIf | None:
        return self.what_ifs.get(tree_id)

    def coming(self, place: str) -> tuple[ComingAir, Ensemble] | None:
        return ComingAir(Air(20.0, 50.0, 0.6), 0.0, 0.0), ALONE

    def air_said(self) -> None:
        self.air_saids += 1

    def air(self, place: str, start: Millis, end: Millis) -> Sequence[AirPoint]:
        return [point for point in self.airs.get(place, ()) if start <= point.time < end]


class FakeShop:
    """The parts over a real store, with a rack of our own making; noon of a Monday in March."""

    def __init__(self, engine: Engine, rate: float = 1.0) -> None:
        self.engine, self.rack, self.clock = engine, FakeRack(), SetClock(NOON, rate)
        self.readiness = Readiness(True)
        self.tried: list[str] = []
        self.not_tried = ""
        self.parts = Parts(
            engine=engine,
            rack=self.rack,
            clock=self.clock,
            wall_clock=lambda: NOON,
            vapid_public_key="BPushKeyOfATestShop",
            ready=lambda: self.readiness,
            on_readings=self.take_readings,
            air_history=AirHistory(engine),
            changes=Changes(self.clock.now),
            try_phone=self.try_phone,
            data=Path(engine.url.database or "data").parent,
        )
        for place in (Place("drying-room", "Drying room", 0.6), Place("cellar", "Cellar", 0.2)):
            place_store.add_place(engine, place)
        self.recipe = recipe_store.ensure_default(engine)
        shop_store.set_setting(engine, "shop_name", "Reedmace Casting")
        shop_store.set_setting(engine, "time_zone", "Europe/Helsinki")

    async def try_phone(self, subscription: Subscription) -> str:
        self.tried.append(subscription.endpoint)
        return self.not_tried

    async def take_readings(self, parsed: Parsed) -> int:
        outcome = reading_store.keep(self.engine, parsed.readings, parsed.rejected, (), self.clock.now())
        self.parts.air_history.heard(outcome)
        return len(parsed.readings)

    def hang(
        self,
        label: str,
        hook: str,
        coats: int = 0,
        state: State = "new",
        spots: Sequence[tuple[str, str]] = (("joint:30", "vent joint"), ("face", "body")),
        place: str = "drying-room",
        dipped: Millis = NOON - 3 * HOUR_MS,
        fit: Quantiles = NEVER,
        remaining: float | None = None,
    ) -> Tree:
        """A tree with that many coats, the last `dipped` then, and the verdict that is said of it."""
        named = tuple(TreeSpot(code, name) for code, name in spots)
        new = NewTree(label, hook, place, self.recipe.id, 25.0, named)
        tree = tree_store.add_tree(self.engine, new, NOON - 60 * HOUR_MS)
        for number in range(coats):
            at = dipped - (coats - 1 - number) * 5 * HOUR_MS
            dip_store.add_dip(self.engine, NewDip(tree.id, at, at, pot="3" if number > 1 else None))
        self.judge(tree, state, fit, remaining)
        return tree

    def judge(
        self,
        tree: Tree,
        state: State,
        fit: Quantiles = NEVER,
        remaining: float | None = None,
        reason: str = "",
    ) -> None:
        """Set what the rack says of a tree; its dips are those in the store."""
        standing = dip_store.dips(self.engine, tree.id)
        coats = tree.recipe.coats
        on = len(standing)
        outlook = Outlook(
            tree_id=tree.id,
            label=tree.label,
            hook=tree.hook,
            place=tree.place,
            coat=on,
            of=len(coats),
            kind=coats[max(on, 1) - 1].kind,
            state=state,
            slowest_spot=tree.spots[0].code if on else None,
            slowest_name=tree.spots[0].name if on else None,
            remaining=remaining if on else None,
            fit_at=fit,
            reason=reason or f"{tree.label} is {state}.",
            as_of=self.clock.now(),
            dipped_at=standing[-1].at if standing else None,
            next_kind=coats[on].kind if on < len(coats) else None,
        )
        spots = tuple(
            self._spot(spot, standing[-1].at, on, slow, fit, remaining)
            for spot, slow in zip(tree.spots, (1.0, 0.35, 0.6, 0.2), strict=False)
            if standing
        )
        history = tuple(
            CoatVerdict(
                number=dip.coat,
                kind=coats[dip.coat - 1].kind,
                dip_id=dip.id,
                dipped_at=dip.at,
                fit_at=_same(dip.at + 4 * HOUR_MS) if dip is not standing[-1] else fit,
                slowest_spot=tree.spots[0].code,
                slowest_name=tree.spots[0].name,
                damp_at_next=0.21 if dip.coat == 2 and dip is not standing[-1] else None,
                warnings=("Dipped on a damp coat.",) if dip.coat == 2 and dip is not standing[-1] else (),
                pot=dip.pot,
            )
            for dip in standing
        )
        start = standing[-1].at if standing else self.clock.now() - 12 * HOUR_MS
        air = tuple(self.rack.air(tree.place, start, self.clock.now()))
        self.rack.verdicts[tree.id] = TreeVerdict(outlook, spots, history, air, ())
        self.parts.changes.shown(self.rack.verdicts)

    def _spot(
        self, spot: TreeSpot, dipped: Millis, on: int, slow: float, fit: Quantiles, remaining: float | None
    ) -> SpotVerdict:
        now, left = self.clock.now(), 0.5 if remaining is None else max(remaining, 0.01)
        pace = -math.log(min(left, 0.99)) / max((now - dipped) / HOUR_MS, 0.1) / slow

        def at(time: Millis) -> float:
            return math.exp(-pace * (time - dipped) / HOUR_MS)

        steps = range(dipped, now + 1, max((now - dipped) // 40, 1))
        ahead = range(now, now + 24 * HOUR_MS, 20 * MINUTE_MS)
        is_fit = at(now) <= 0.05
        return SpotVerdict(
            code=spot.code,
            name=spot.name,
            remaining=at(now),
            water_left=at(now),
            cooling_k=2.0 * at(now),
            temp_c=18.0,
            limit=0.05,
            fit=is_fit,
            fit_at=fit if slow == 1.0 else _same(dipped + round(-math.log(0.05) / pace * HOUR_MS)),
            curve=tuple((time, at(time)) for time in steps),
            ahead=() if is_fit else tuple((time, at(time)) for time in ahead),
            wetness=tuple(
                min(at(now) * (1.0 if n == on - 1 else 0.5 ** (on - 1 - n)), 1.0) for n in range(on)
            ),
        )

    def blow(self, place: str, hours: float = 24.0, gap: tuple[float, float] | None = None) -> None:
        """Give a place air up to now; between `gap` hours ago (from, to) it is not known."""
        now = self.clock.now()
        points = []
        for time in range(now - round(hours * HOUR_MS), now, BLOCK_MS):
            ago = (now - time) / HOUR_MS
            known = gap is None or not gap[1] <= ago <= gap[0]
            day = math.sin(time / HOUR_MS / 24 * 2 * math.pi)
            points.append(AirPoint(time, 18 - 2 * day if known else None, 55 + 9 * day if known else None))
        self.rack.airs[place] = tuple(points)
        said = [
            Reading(place, "wall", name, unit, value, point.time + BLOCK_MS // 2)
            for point in points
            for name, unit, value in (
                ("temperature", "Cel", point.temp_c),
                ("humidity", "%RH", point.rh_pct),
            )
            if value is not None
        ]
        self.parts.air_history.heard(reading_store.keep(self.engine, said, (), (), now))


def _same(moment: Millis) -> Quantiles:
    return Quantiles(moment, moment, moment)


def furnished(shop: FakeShop) -> dict[str, Tree]:
    """A rack with a tree in every state, made-up ones all."""
    now = NOON
    shop.blow("drying-room", 30, gap=(6.5, 4.5))
    shop.blow("cellar", 30)
    trees = {
        "Heron": shop.hang("Heron", "A1", 4, "fit", fit=_same(now - 22 * MINUTE_MS), remaining=0.045),
        "Bittern": shop.hang("Bittern", "A2", 3, "drying", fit=_same(now + 40 * MINUTE_MS), remaining=0.34),
        "Snipe": shop.hang(
            "Snipe",
            "A3",
            6,
            "drying",
            (("pocket:14x18", "beak pocket"), ("face", "back"), ("joint:90", "gate joint")),
            fit=Quantiles(now + 26 * HOUR_MS, now + 40 * HOUR_MS, None),
            remaining=0.71,
        ),
        "Avocet": shop.hang("Avocet", "B1", 2, "unsure", (("face", "wing"),), "cellar", remaining=0.4),
        "Dunlin": shop.hang("Dunlin", "B2", place="cellar"),
        "Teal": shop.hang("Teal", "A4", 10, "resting", fit=_same(now + 9 * HOUR_MS), remaining=0.1),
        "Curlew": shop.hang("Curlew", "B3", 10, "through", fit=_same(now - 3 * HOUR_MS), remaining=0.02),
    }
    shop.judge(
        trees["Avocet"],
        "unsure",
        remaining=0.4,
        reason="The air in the cellar has not been known since 10:10.",
    )
    shop.judge(trees["Dunlin"], "new", reason="No coat yet.")
    return trees


class Browser:
    """Asks the application without a network, one request after the other, as httpx answers."""

    def __init__(self, shop: FakeShop, **options: Any) -> None:
        # The application's own faults are answered, not raised: that answer is what is tested.
        transport = httpx.ASGITransport(web_app(shop.parts), raise_app_exceptions=False)
        self._client = httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000", **options)
        self._runner = asyncio.Runner()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._runner.run(self._client.aclose())
        self._runner.close()

    def ask(self, method: str, path: str, **more: Any) -> httpx.Response:
        return self._runner.run(self._client.request(method, path, **more))

    def get(self, path: str, **more: Any) -> httpx.Response:
        return self.ask("GET", path, **more)

    def post(self, path: str, **more: Any) -> httpx.Response:
        return self.ask("POST", path, **more)


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The problem details of an answer; checks what RFC 9457 3.1 asks of them."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    details: dict[str, Any] = answer.json()
    assert details["status"] == status
    assert details["title"]
    assert details["detail"]
    return details
