"""What the trees of one picture share, and what a forecast works out once, is what each would find alone."""

import numpy as np
import pytest

from sensors.air import BLOCK_MS, PlaceAir
from sensors.clock import HOUR_MS, Millis
from server.believing import Believed, prior_ensemble
from server.outlooks import BlockMeans, air_points, forecast_of
from server.stays import AirAlong, AirRecord, Stay
from server.store.engine import Engine
from server.verdicts import AirPoint
from tests.service.records import START, judge, record, steady


def alone(air: AirRecord, start: Millis, end: Millis) -> tuple[AirPoint, ...]:
    """The points of less than 40 hours, each asked of the record itself."""
    points = []
    for at in range(start // BLOCK_MS * BLOCK_MS, end, BLOCK_MS):
        mean = air.mean(at, at + BLOCK_MS)
        points.append(AirPoint(at, mean.temp_c, mean.rh_pct) if mean else AirPoint(at, None, None))
    return tuple(points)


def test_trees_that_share_block_means_have_the_air_that_each_hung_in(monkeypatch: pytest.MonkeyPatch) -> None:
    end = START + 6 * HOUR_MS
    loft = record([*steady(START, 2), *steady(START + 4 * HOUR_MS, 2, rh_pct=60.0)])
    cellar = record(steady(START, 6, temp_c=16.0, rh_pct=80.0))
    # It moved within a block: that block counts to where it hung for most of it.
    moved = AirAlong([Stay(START, "loft", loft), Stay(START + HOUR_MS + BLOCK_MS // 3, "cellar", cellar)])
    ways: tuple[tuple[AirRecord, Millis], ...] = (
        (AirAlong([Stay(START, "loft", loft)]), START + 7),
        (AirAlong([Stay(START, "cellar", cellar)]), START),
        (moved, START + BLOCK_MS),
        (loft, START),
    )
    each = [alone(air, start, end) for air, start in ways]
    assert any(point.temp_c is None for point in each[0]), "the gap is in it"
    asked: list[tuple[PlaceAir, Millis]] = []
    real = PlaceAir.mean

    def mean(air: PlaceAir, start: Millis, end: Millis) -> object:
        asked.append((air, start))
        return real(air, start, end)

    monkeypatch.setattr(PlaceAir, "mean", mean)
    means = BlockMeans()
    assert [air_points(air, start, end, means) for air, start in ways] == each
    assert len(asked) == len(set(asked)) == 2 * 36


def test_a_forecast_keeps_the_curves_that_its_spots_give(engine: Engine) -> None:
    tree = judge(record(steady(START, 3)))
    tree.believe(prior_ensemble(engine, Believed(members=5)))
    tree.advance(START + 2 * HOUR_MS)
    assert tree.state is not None
    made = forecast_of(tree, tree.state.at, tree.ahead())
    assert len(made.curves) == len(made.bands) == 2
    for ahead, curve, band in zip(made.spots, made.curves, made.bands, strict=True):
        likely, low, high = (ahead.curve(tree.ensemble, level) for level in (tree.tree.confidence, 0.1, 0.9))
        assert curve == tuple((made.made_at + round(1000 * at), left) for at, left in likely)
        assert [(a, b) for _, a, b in band] == [(a, b) for (_, a), (_, b) in zip(low, high, strict=True)]
        assert [at for at, _, _ in band] == [at for at, _ in curve]
        assert np.ptp([b - a for _, a, b in band]) > 0.0
