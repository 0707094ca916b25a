"""What is kept of how a coat dried: its spread around it, few points once another coat is over it."""

from collections.abc import Iterator
from itertools import pairwise

import pytest

from server.courses import MOST_POINTS
from server.store.engine import Engine
from tests.service.test_live import Shop
from tests.service.test_live_members import judged


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine, members=4)
    yield shop
    for rack in shop.racks:
        rack.close()


def test_the_spread_lies_around_the_curve_and_older_coats_keep_their_course(shop: Shop) -> None:
    """A curve is the 90th percentile as usual, so its own upper end; the lower end is no higher."""
    judged(shop, 8.0)
    verdict = shop.racks[-1].tree(shop.tree.id)
    assert verdict is not None
    for spot in verdict.spots:
        assert [at for at, _ in spot.curve] == [at for at, _, _ in spot.band]
        assert [at for at, _ in spot.ahead] == [at for at, _, _ in spot.band_ahead]
        for (_, value), (_, low, high) in zip(
            (*spot.curve, *spot.ahead), (*spot.band, *spot.band_ahead), strict=True
        ):
            assert low <= value == high
        assert any(low < high for _, low, high in spot.band)
    first, second = verdict.coats
    assert second.courses == ()
    assert [code for code, _ in first.courses] == [spot.code for spot in verdict.spots]
    for _, course in first.courses:
        assert 2 < len(course) <= MOST_POINTS
        assert (course[0][0], course[-1][0]) == (first.dipped_at, second.dipped_at)
        assert all(one[0] < other[0] for one, other in pairwise(course))
        assert all(low <= value <= high for _, value, low, high in course)
    assert first.damp_at_next is not None
    assert max(course[-1][1] for _, course in first.courses) == pytest.approx(first.damp_at_next, abs=1e-3)


def test_a_restart_has_the_same_spread_and_courses(shop: Shop) -> None:
    judged(shop, 8.0)
    before = shop.racks[-1].tree(shop.tree.id)
    again = shop.rack()
    again.look()
    after = again.tree(shop.tree.id)
    assert before is not None
    assert after is not None
    assert [spot.band for spot in after.spots] == [spot.band for spot in before.spots]
    assert [coat.courses for coat in after.coats] == [coat.courses for coat in before.coats]
