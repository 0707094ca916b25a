"""What the search for an order gains over the plain rule, on a hundred made-up days, and what falls out.

`python -m tests.benchmarks.bench_plan` prints it, with the time that a plan of forty trees takes.
"""

import time
from dataclasses import dataclass
from random import Random

from scheduler.day_plan import Candidate, Day, lay_out, plain_order
from scheduler.decoder import planned, worth
from sensors.clock import HOUR_MS, MINUTE_MS

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
    place = {one.tree_id: index for index, one in enumerate(candidates)}
    best = worth(candidates, [(place[dip.tree_id], dip.nth) for dip in after.dips], day)
    return Gain(
        worth(candidates, order, day),
        best,
        len(before.dips),
        len(after.dips),
        len(before.left_out),
        len(after.left_out),
        seconds,
    )


def main() -> None:
    """Print the table."""
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
