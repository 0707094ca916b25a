"""What the search for an order gains over the plain rule, on a hundred made-up days, and what falls out.

`python -m tests.benchmarks.bench_plan` prints it, with the time that a plan of forty trees takes: from
nothing, its coats to come reckoned for 32 members, and anew after a dip. Beside the wall's seconds stand
those of the process itself, which other work on the machine does not lengthen.
"""

import tempfile
import time
from dataclasses import dataclass, replace
from random import Random

from scheduler.day_plan import Candidate, Day, lay_out, plain_order
from scheduler.decoder import planned, worth_of_shown
from scheduler.forecast import Quantiles
from sensors.air import Air
from sensors.clock import HOUR_MS, MINUTE_MS
from server.drying.coming_coats import ComingAir
from server.drying.drawing import drawn
from server.drying.ensemble import Ensemble
from server.planning import PlanDesk
from server.store import dips as dip_store
from server.store import places as place_store
from server.store.engine import open_store
from server.store.values import NewDip
from tests.service.fake_shop import NOON, FakeShop

OPENS, CLOSES = 8 * HOUR_MS, 18 * HOUR_MS
PAUSE_H = 14


def made_up_day(seed: int, trees: int) -> tuple[list[Candidate], Day]:
    """A day of a made-up shop: a third of the trees fit in the morning, the others through the day."""
    draw = Random(seed)
    candidates = []
    for number in range(trees):
        on = draw.randrange(10)
        kinds = (("prime",) * 2 + ("backup",) * 7 + ("seal",))[on:]
        slow = draw.choice((1.0, 1.0, 1.6, 3.0))
        dry = tuple(
            round(slow * {"prime": 4.0, "backup": 3.0, "seal": 5.0}[kind] * draw.uniform(0.8, 1.3) * HOUR_MS)
            for kind in kinds
        )
        fit = OPENS if draw.random() < 0.35 else OPENS + round(draw.uniform(0.0, 9.0) * HOUR_MS)
        late = 0 if fit == OPENS else round(draw.uniform(0.2, 2.5) * HOUR_MS)
        candidates.append(Candidate(number, f"Tree {number:02d}", fit, fit + late, kinds, dry))
    dip = draw.choice((6, 8, 10, 12)) * MINUTE_MS
    return candidates, Day(OPENS, CLOSES, CLOSES + PAUSE_H * HOUR_MS, dip)


@dataclass(frozen=True)
class Gain:
    """One day: coats by the plain rule and as planned, dips of each, trees that find no place in each."""

    plain: float
    found: float
    plain_dips: int
    dips: int
    plain_left: int
    left: int
    seconds: float


def gain(seed: int, trees: int) -> Gain:
    """Plan a made-up day both ways."""
    candidates, day = made_up_day(seed, trees)
    order = plain_order(candidates, day)
    before = lay_out(candidates, order, day)
    began = time.perf_counter()
    after = planned(candidates, day)
    seconds = time.perf_counter() - began
    return Gain(
        worth_of_shown(candidates, before, day),
        worth_of_shown(candidates, after, day),
        len(before.dips),
        len(after.dips),
        len(before.left_out),
        len(after.left_out),
        seconds,
    )


def hang_forty(shop: FakeShop) -> None:
    """Forty trees with their joints, pockets and sizes, in two places, at every coat."""
    draw = Random(11)
    for number in range(40):
        spots = [("face", "body"), (f"joint:{draw.choice((30, 40, 50, 60, 75, 90, 110))}", "vent joint")]
        if number % 9 == 0:
            spots.append(("pocket:14x18", "beak pocket"))
        due = Quantiles(*(NOON + round((number % 7 + more) * HOUR_MS) for more in (0.5, 1.0, 3.0)))
        coats = number % 10
        shop.hang(
            f"Tree {number:02d}",
            f"H{number}",
            coats,
            "drying" if coats else "new",
            spots=spots,
            place=("drying-room", "cellar")[number % 4 == 0],
            fit=due,
            remaining=0.4,
        )


def time_forty(members: int) -> None:
    """Print what a plan of forty trees takes from nothing, asked again, and after a dip."""
    ensemble = drawn(members)
    with tempfile.TemporaryDirectory() as folder:
        engine = open_store(f"sqlite:///{folder}/slowcorner.db")
        shop = FakeShop(engine)
        coming: dict[str, tuple[ComingAir, Ensemble]] = {
            place.id: (ComingAir(Air(19.0 - 4.0 * number, 50.0, place.speed_m_s), 1.0, 5.0), ensemble)
            for number, place in enumerate(place_store.places(engine))
        }
        shop.rack.coming = coming.get  # type: ignore[method-assign, assignment]
        hang_forty(shop)
        desk = PlanDesk()
        began, busy = time.perf_counter(), time.process_time()
        desk.plan(engine, shop.rack, shop.clock)
        first = time.perf_counter()
        desk.times.wait()
        reckoned = time.perf_counter()
        plan = desk.plan(engine, shop.rack, shop.clock)
        whole, busy = time.perf_counter() - began, time.process_time() - busy
        again = []
        for dip in plan.day.dips[:5]:
            shop.clock.advance(8 * MINUTE_MS)
            dip_store.add_dip(engine, NewDip(dip.tree_id, shop.clock.now(), shop.clock.now()))
            verdict = shop.rack.verdicts[dip.tree_id]
            outlook = replace(verdict.outlook, coat=verdict.outlook.coat + 1, dipped_at=shop.clock.now())
            shop.rack.verdicts[dip.tree_id] = replace(verdict, outlook=outlook)
            start = time.process_time()
            desk.plan(engine, shop.rack, shop.clock)
            again.append(time.process_time() - start)
        engine.dispose()
    print(
        f"40 trees, {members} members: a first plan with usual figures {first - began:.2f} s, coats reckoned "
        f"in {reckoned - first:.1f} s, the whole plan after {whole:.1f} s ({busy:.1f} s of the process); "
        f"anew after a dip {min(again):.2f}-{max(again):.2f} s of the process"
    )


def main() -> None:
    """Print the table."""
    time_forty(32)
    for trees, days in ((12, 34), (25, 33), (40, 33)):
        rows = [gain(seed, trees) for seed in range(days)]
        count = len(rows)
        print(
            f"{trees} trees, {count} days: plain rule {sum(row.plain for row in rows) / count:.2f} coats a "
            f"day, planned {sum(row.found for row in rows) / count:.2f} "
            f"({sum(row.found for row in rows) / sum(row.plain for row in rows) - 1:+.1%}); "
            f"better on {sum(row.found > row.plain + 0.01 for row in rows)}, "
            f"worse on {sum(row.found < row.plain - 0.01 for row in rows)}; "
            f"trees that fall out {sum(row.plain_left for row in rows) / count:.1f} and "
            f"{sum(row.left for row in rows) / count:.1f} a day; "
            f"{sorted(row.seconds for row in rows)[count // 2]:.2f} s a plan, least "
            f"{min(row.seconds for row in rows):.2f} s"
        )


if __name__ == "__main__":
    main()
