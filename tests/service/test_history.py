"""What the history teaches, reckoned by hand; coats and forecasts written down as they happen."""

from collections.abc import Iterator
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from scheduler.forecast import NEVER, Quantiles
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, SetClock
from server.believing import set_believed
from server.coat_book import CoatBook, coat_of, coats_over
from server.following import said_dips
from server.history_record import past_coats
from server.history_taught import PastCoat, forecasts_held, seasons
from server.live import LiveRack
from server.store import castings, clearings, dips, places, readings, recipes, trees
from server.store.castings import NewCasting
from server.store.clearings import NewPatch
from server.store.engine import Engine
from server.store.values import NewDip, NewTree, Place, RecipeCoat, TreeSpot
from tests.service.fake_shop import NOON, Browser, FakeShop
from tests.service.records import PLACE, START, steady

UTC = ZoneInfo("UTC")

AWAY_DAYS = 6


def coat(number: int, hours: float | None, month: int = 0, **more: object) -> PastCoat:
    at = NOON + month * 31 * DAY_MS
    fit = None if hours is None else at + round(hours * HOUR_MS)
    kept = PastCoat("Ten coats", "Cellar", number, "backup", at, fit, fit, "vent")
    return replace(kept, **more)  # type: ignore[arg-type]


def test_coats_are_told_by_recipe_place_and_quarter_and_unfit_ones_are_not_quick() -> None:
    past = [
        coat(3, 2),
        coat(3, 5),
        coat(3, 3),
        coat(3, None, slowest="gate"),
        coat(4, 1),
        coat(3, 9, month=3),
    ]
    march, june = seasons(past, UTC)
    assert (march.quarter, june.quarter) == (0, 1)
    third, fourth = march.coats
    assert (third.number, third.count, third.unfit) == (3, 3, 1)
    assert (third.quickest, third.middle, third.longest) == (2 * HOUR_MS, 3 * HOUR_MS, 5 * HOUR_MS)
    assert fourth.middle == HOUR_MS
    assert march.slowest == (("vent", 4), ("gate", 1))
    elsewhere = [coat(3, 2), coat(3, 2, place="Drying room"), coat(3, 2, recipe="Eight coats")]
    assert len(seasons(elsewhere, UTC)) == 3


def test_forecasts_are_held_against_what_came_and_none_is_left_out_in_silence() -> None:
    def said(low: float, middle: float, high: float | None) -> Quantiles:
        late = None if high is None else NOON + round(high * HOUR_MS)
        return Quantiles(NOON + round(low * HOUR_MS), NOON + round(middle * HOUR_MS), late)

    held = forecasts_held(
        [
            coat(1, 4, foretold=said(3, 5, 8)),
            coat(2, 4, foretold=said(5, 6, 8)),
            coat(3, 4, foretold=said(3, 4, None)),
            coat(4, None, foretold=said(3, 4, 5)),
            coat(5, 4, foretold=NEVER),
            coat(6, 4),
        ]
    )
    assert [one.within for one in held.points] == [True, False, True]
    assert held.share_within == pytest.approx(2 / 3)
    assert held.median_off == pytest.approx(0.25)
    assert (held.unfit, held.no_end) == (1, 1)
    assert forecasts_held([]).share_within is None


SPOTS = (TreeSpot("face", "body"), TreeSpot("joint:60", "vent joint"))


class Shop:
    """A shop with one tree of two coats, in air of the test's own."""

    def __init__(self, engine: Engine) -> None:
        self.engine, self.clock, self.arrived = engine, SetClock(START), START
        set_believed(engine, members=1)
        places.add_place(engine, Place(PLACE, "Drying room", 0.6))
        recipe = recipes.add_recipe(
            engine, "Two coats", [RecipeCoat(1, "prime", 0.7, 0.22), RecipeCoat(2, "backup", 1.0, 0.32)]
        )
        self.tree = trees.add_tree(engine, NewTree("Heron", "A1", PLACE, recipe.id, 25.0, SPOTS), START)
        self.rack = LiveRack(engine, self.clock)
        self.rack.open()
        self.book = CoatBook(engine)

    def dip(self, hours: float) -> None:
        at = START + round(hours * HOUR_MS)
        self.clock.time = at
        dips.add_dip(self.engine, NewDip(self.tree.id, at, at, pot="P1"))
        self.rack.refresh(self.tree.id)
        self.go(hours + 0.5, since=hours)

    def go(self, hours: float, since: float) -> None:
        """On to so many hours after the start, in steady air."""
        said = steady(START + round(since * HOUR_MS), hours - since, rh_pct=45.0)
        self.arrived += 1
        readings.keep(self.engine, said, [], [], self.arrived)
        self.rack.hear(said, self.arrived)
        self.clock.time = START + round(hours * HOUR_MS)
        self.rack.look()
        verdict = self.rack.tree(self.tree.id)
        if verdict is not None:
            self.book.keep([verdict], self.clock.now())

    @property
    def state(self) -> str | None:
        verdict = self.rack.tree(self.tree.id)
        return verdict.outlook.state if verdict else None


@pytest.fixture
def live(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine)
    yield shop
    shop.rack.close()


def test_coats_and_forecasts_are_written_down_and_a_patch_dries_anew(live: Shop) -> None:
    live.go(0.5, since=0)
    live.dip(0.5)
    made = castings.forecasts(live.engine)
    assert len(made) == 1
    (forecast,) = made.values()
    assert forecast.made_at - (START + HOUR_MS // 2) <= HOUR_MS
    live.go(14, since=1)
    assert castings.kept_coats(live.engine) == []
    live.dip(14)
    (kept,) = castings.kept_coats(live.engine)
    first = coat_of(kept)
    assert (kept.at, kept.until) == (START + HOUR_MS // 2, START + 14 * HOUR_MS)
    assert [name for name, _ in first.left_at_next] == ["body", "vent joint"]
    assert max(left for _, left in first.left_at_next) == pytest.approx(first.damp_at_next)
    assert first.climate.temp_mean_c == pytest.approx(21.0)
    assert first.climate.rh_mean_pct == pytest.approx(45.0, abs=1e-3)
    assert first.climate.known_s > 0
    assert first.climate.coldest_c is not None
    assert first.climate.coldest_c < 21.0
    past = past_coats(live.engine)
    assert [(one.number, one.slowest is not None, one.foretold) for one in past] == [
        (1, True, forecast.fit_at)
    ]
    # The air stayed as it was, so that the middle of the forecast is what came, to a few blocks.
    (held,) = forecasts_held(past).points
    assert abs(held.came - held.foretold) <= 20 * MINUTE_MS
    live.go(64.5, since=14.5)
    assert live.state == "through"
    rested = live.rack.tree(live.tree.id)
    assert rested is not None
    assert rested.rested >= rested.rest == DAY_MS
    assert all(spot.over_dry is not None and spot.over_dry <= 0.005 for spot in rested.spots)
    now = live.clock.now()
    castings.keep_coats(live.engine, coats_over(rested, now, until=now))
    clearings.clear(live.engine, live.tree.id, "Ada", "", "through", {}, now)
    live.rack.refresh(live.tree.id)
    assert live.state is None
    assert len(castings.kept_coats(live.engine)) == 2
    patch = NewPatch("joint:60", 3.0, now, where="hairline")
    clearings.reopen(live.engine, live.tree.id, "Ada", "a crack", now, patch)
    live.rack.refresh(live.tree.id)
    live.go(65.5, since=64.5)
    assert live.state == "resting"
    verdict = live.rack.tree(live.tree.id)
    assert verdict is not None
    assert (verdict.outlook.coat, verdict.outlook.of) == (2, 2)
    body, vent = verdict.spots
    assert body.over_dry is not None
    assert vent.over_dry is not None
    assert body.over_dry <= 0.005 < vent.over_dry, "only the patched spot is wet again"
    assert verdict.coats[-1].patch == "joint:60"
    assert verdict.coats[:1] == rested.coats[:1], "what went before is judged as it was"
    clearings.undo_patch(live.engine, live.tree.id, clearings.patches(live.engine, live.tree.id)[0].id, now)
    live.rack.refresh(live.tree.id)
    assert live.state == "through"


def test_air_that_was_let_go_of_is_read_again_for_a_tree_that_comes_back(
    live: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Let go of at once, or the tree would have to be away for a fortnight.
    for name in ("SAID_LATE_MS", "REACH_MS"):
        monkeypatch.setattr(f"server.live.{name}", 0)
    live.dip(0)
    live.go(8, since=0.5)
    live.dip(8)
    live.go(12, since=8.5)
    before = live.rack.tree(live.tree.id)
    now = live.clock.now()
    clearings.clear(live.engine, live.tree.id, "Ada", "", "through", {}, now)
    live.rack.refresh(live.tree.id)
    live.go(24 * AWAY_DAYS, since=24 * AWAY_DAYS - 12)
    clearings.reopen(live.engine, live.tree.id, "Ada", "wrong tree", live.clock.now())
    live.rack.refresh(live.tree.id)
    after = live.rack.tree(live.tree.id)
    assert before is not None
    assert after is not None
    assert after.coats[0] == before.coats[0]
    assert after.coats[0].climate.known_s > 0


def test_a_patch_falls_with_the_coat_under_it(live: Shop) -> None:
    live.dip(0.5)
    live.dip(5)
    clearings.add_patch(
        live.engine, live.tree.id, NewPatch("face", 2.0, live.clock.now()), "Ada", live.clock.now()
    )
    assert [one.spot for one in said_dips(live.engine, live.tree)] == [None, None, "face"]
    last = dips.dips(live.engine, live.tree.id)[-1]
    dips.undo_dip(live.engine, live.tree.id, last.id, live.clock.now())
    assert [one.spot for one in said_dips(live.engine, live.tree)] == [None]


def test_the_page_tells_forecasts_coats_and_castings(shop: FakeShop, web: Browser) -> None:
    assert "written down when the next one goes on" in web.get("/shop/history").text
    tree = shop.hang("Curlew", "B3", 10, "through", fit=Quantiles(NOON, NOON, NOON))
    verdict = shop.rack.verdicts[tree.id]
    castings.keep_coats(shop.engine, coats_over(verdict, NOON, until=NOON))
    foretold = [
        castings.DipForecast(dip.id, dip.at, Quantiles(dip.at + HOUR_MS, dip.at + hours * HOUR_MS, None))
        for dip, hours in zip(dips.dips(shop.engine, tree.id), (4, 6), strict=False)
    ]
    castings.keep_forecasts(shop.engine, foretold)
    clearings.clear(shop.engine, tree.id, "Ada", "", "through", {}, NOON)
    castings.add_casting(shop.engine, tree.id, NewCasting("fin", "Ada", "face", "left wing"), NOON)
    page = web.get("/shop/history").text
    assert "2 forecasts made at the dip: 100 % came within" in page
    assert "<circle" in page
    assert "fins at the body, 2 Mar 2026 14:00 · left wing" in page
    assert "10 coats written down, each fit before the next" in page
    assert "Ten coats, Drying room, January to March" in page
    assert "about 4 h" in page
    table = web.get("/shop/history/checks.csv?year=2026")
    assert table.status_code == 200
