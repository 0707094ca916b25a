"""Quantiles that keep their word: percentiles 10 to 90 hold the truth in 75-85 of 100 shops."""

import numpy as np
import pytest

from sensors.air import Air
from server.drying.drawing import SEED, drawn, drawn_points
from server.drying.ensemble import Ensemble
from server.drying.priors import members_at
from server.drying.verdict import tree_ahead
from tests.drying.shells import SHOP, dipped

SHOPS = 200

COATS = (
    ("face", "backup", 0, SHOP),
    ("joint:30", "backup", 0, SHOP),
    ("joint:60", "backup", 3, Air(18.0, 60.0, 0.2)),
    ("pocket:12x40", "prime", 1, SHOP),
    ("joint:45", "prime", 0, Air(24.0, 45.0, 1.0)),
)
"""Spot, kind, coats under it, air."""


@pytest.mark.slow
def test_percentiles_10_to_90_hold_the_truth_in_four_of_five_coats() -> None:
    """Each truth is a member of another draw of the same priors, weighed by the same trial (another seed)."""
    believed = drawn()
    shops = Ensemble(members_at(drawn_points(SHOPS, SEED + 1)), np.ones(SHOPS))
    held = []
    for code, kind, older, air in COATS:
        foretold, truth = (
            tree_ahead([dipped(code, kind, older, air, ensemble.members)], air, ensemble)[0].fit_s
            for ensemble in (believed, shops)
        )
        low, middle, high = believed.spread(foretold)
        inside = (truth >= low) & (truth <= high)
        held.append(inside)
        print(
            f"{kind} {older + 1} at {code}: {middle / 3600:.1f} h, {low / 3600:.1f}-{high / 3600:.1f}; holds "
            f"{inside.mean():.1%} of {SHOPS}, {(truth < low).mean():.1%} sooner, "
            f"{(truth > high).mean():.1%} later"
        )
    # A coat a shop: each shop's at one of the spots in turn; and all of them.
    one_each = np.array([held[shop % len(COATS)][shop] for shop in range(SHOPS)])
    print(f"a coat a shop: {one_each.mean():.1%}; all {len(COATS) * SHOPS} coats: {np.mean(held):.1%}")
    assert 0.75 <= one_each.mean() <= 0.85
    assert 0.75 <= np.mean(held) <= 0.85
