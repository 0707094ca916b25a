"""The live rack with several members: the same bits however it came there, and shown before it steps."""

from collections.abc import Iterator

import pytest

from server.believing import BeliefError, believed, prior_ensemble, set_believed
from server.drying.drawing import SEED
from server.drying.priors import PRIORS, PriorError, names
from server.judged_state import to_blob
from server.store import saved
from server.store.engine import Engine
from tests.service.test_live import Shop, between, only


@pytest.fixture
def shop(engine: Engine) -> Iterator[Shop]:
    shop = Shop(engine, members=4)
    yield shop
    for rack in shop.racks:
        rack.close()


def judged(shop: Shop, hours: float) -> Shop:
    """A coat at the start, another at six hours, air up to `hours`, judged up to there."""
    rack = shop.rack()
    shop.dip(0.05)
    shop.at(0.1)
    rack.refresh(shop.tree.id)
    shop.say(between(0.0, 6.0), rack)
    shop.at(6.0)
    rack.look()
    shop.dip(6.0)
    rack.refresh(shop.tree.id)
    shop.say(between(6.0, hours - 6.0), rack)
    shop.at(hours)
    rack.look()
    return shop


def bits(shop: Shop) -> bytes:
    """The newest saved state, without what it was told of."""
    return saved.saved_states(shop.engine, shop.tree.id)[-1][2][8:]


def test_members_disagree_until_enough_of_them_call_it_fit(shop: Shop) -> None:
    judged(shop, 7.0)
    drying = only(shop.racks[-1])
    assert drying.state == "drying"
    early, middle, late = drying.fit_at.p10, drying.fit_at.p50, drying.fit_at.p90
    assert early is not None
    assert middle is not None
    assert late is not None
    assert early < middle < late
    judged_tree = shop.racks[-1].tree(shop.tree.id)
    assert judged_tree is not None
    first, _ = judged_tree.coats
    if first.fit_at.p50 is not None:
        assert first.damp_at_next is not None


def test_without_saved_states_the_same_bits(shop: Shop) -> None:
    judged(shop, 12.0)
    before, said = bits(shop), only(shop.racks[-1])
    shop.racks[-1].close()
    saved.forget_states(shop.engine, shop.tree.id, 0)
    again = shop.rack()
    assert bits(shop) == before
    assert only(again) == said


def test_opened_it_shows_what_was_saved_before_any_step(shop: Shop) -> None:
    judged(shop, 9.0)
    shop.racks[-1].look()
    said = only(shop.racks[-1])
    states = saved.saved_states(shop.engine, shop.tree.id)
    shop.racks[-1].close()
    shop.say(between(9.0, 2.0))
    shop.at(11.0)
    rack = shop.unlooked_rack()
    shown = only(rack)
    assert (shown.as_of, shown.remaining, shown.slowest_spot) == (
        said.as_of,
        said.remaining,
        said.slowest_spot,
    )
    assert saved.saved_states(shop.engine, shop.tree.id) == states
    rack.look()
    later = only(rack)
    assert later.as_of > said.as_of
    assert later.remaining is not None
    assert said.remaining is not None
    assert later.remaining < said.remaining


def test_a_late_reading_after_a_restart_goes_back_to_a_mark(shop: Shop) -> None:
    """The marks are read only then, and lead to the bits that a record in order leads to."""
    judged(shop, 9.0)
    shop.racks[-1].close()
    late = between(7.0, 1.0, rh_pct=80.0, node="n2")
    shop.say(late)
    shop.rack()
    once = bits(shop)
    saved.forget_states(shop.engine, shop.tree.id, 0)
    shop.racks[-1].close()
    shop.rack()
    assert bits(shop) == once


def test_other_priors_or_another_count_judge_all_of_it_anew(shop: Shop) -> None:
    judged(shop, 9.0)
    before = bits(shop)
    shop.racks[-1].close()
    set_believed(shop.engine, members=5)
    rack = shop.rack()
    assert len(bits(shop)) > len(before)
    assert only(rack).state in ("drying", "fit")
    rack.close()
    set_believed(shop.engine, members=4)
    shop.rack()
    assert bits(shop) == before


def test_confidence_is_the_shops(shop: Shop) -> None:
    """The less sure it need be, the sooner it is called fit."""
    judged(shop, 6.0)
    shop.racks[-1].close()
    called = []
    for confidence in (0.5, 0.9):
        set_believed(shop.engine, confidence=confidence)
        rack = shop.rack()
        verdict = rack.tree(shop.tree.id)
        assert verdict is not None
        left = verdict.coats[0].damp_at_next
        assert left is not None
        called.append(left)
        rack.close()
    assert called[0] < called[1]


class TestSettings:
    def test_usual(self, engine: Engine) -> None:
        usual = believed(engine)
        assert (usual.seed, usual.priors, usual.confidence) == (SEED, PRIORS, 0.9)
        assert usual.members in (8, 32)

    @pytest.mark.parametrize(
        ("said", "named"),
        [
            ({"members": 0}, "setting members: 0 is not a whole number from 1 to 256"),
            ({"members": 2.5}, "members: 2.5"),
            ({"members": True}, "members: True"),
            ({"ensemble_seed": -1}, "ensemble_seed: -1"),
            ({"confidence": 0.2}, "confidence: 0.2 is outside 0.5 to 0.99"),
            ({"confidence": "very"}, "confidence: 'very' is not a finite number"),
            ({"sureness": 0.9}, "'sureness' is not one of members"),
            ({"members": 3, "confidence": 7}, "confidence: 7 is outside"),
        ],
    )
    def test_what_cannot_be_is_refused_and_nothing_set(
        self, engine: Engine, said: dict[str, object], named: str
    ) -> None:
        before = believed(engine)
        with pytest.raises(BeliefError, match=named):
            set_believed(engine, **said)
        assert believed(engine) == before

    def test_priors(self, engine: Engine) -> None:
        with pytest.raises(PriorError, match="prior lee: high 9 is outside"):
            set_believed(engine, priors={"lee": [-1, 0, 9]})
        changed = set_believed(engine, priors={"lee": [-1, 0, 1]}).priors
        assert changed[names().index("lee")].high == 1.0
        assert set_believed(engine, priors=None).priors == PRIORS

    @pytest.mark.slow
    def test_a_draw_of_ones_own_is_kept(self, engine: Engine) -> None:
        settings = set_believed(engine, members=3, ensemble_seed=5)
        drawn = prior_ensemble(engine, settings)
        again = prior_ensemble(engine, settings)
        assert again.key == drawn.key
        assert drawn.key != prior_ensemble(engine, set_believed(engine, ensemble_seed=None)).key


def test_blobs_are_whole(shop: Shop) -> None:
    """What is saved reads back to what it was written from."""
    judged(shop, 7.0)
    rack = shop.racks[-1]
    state = rack._followed[shop.tree.id].judge.state
    assert state is not None
    assert to_blob(state) == bits(shop)
