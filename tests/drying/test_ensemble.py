"""The ensemble: what is believed before anything was measured, drawn and weighed by the published trial."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from server.drying import trial
from server.drying.drawing import (
    MEMBERS,
    MOST_MEMBERS,
    SEED,
    default_count,
    default_points,
    default_wide_points,
    drawn,
    drawn_points,
    key_of,
    wide_points,
)
from server.drying.ensemble import Ensemble, weighted_quantile
from server.drying.materials import CENTRE, coat
from server.drying.priors import PRIORS, PriorError, members_at, names, points_of, priors_from
from tests.drying.shells import SHOP, after, dipped


def test_members_follow_the_published_trial() -> None:
    """Guerra & Dooley 2020: 36.5 % left at 60 min, 11.5 % at 120 min (means over the bar), about ten minutes
    more on three older coats. Each member in the trial's air, not in a shop's."""
    members = replace(drawn().members, air_speed=np.ones(MEMBERS))
    one, fourth = trial.mean_left(members, 0), trial.mean_left(members, trial.OLDER)
    minutes = 5.0 * np.arange(len(one))
    longer = np.array(
        [np.interp(-0.115, -later, minutes) - np.interp(-0.115, -first, minutes)
         for first, later in zip(one.T, fourth.T, strict=True)]
    )  # fmt: skip
    print(
        f"left at 60 min {one[12].mean():.3f} ± {one[12].std():.3f} (0.365), "
        f"at 120 min {one[24].mean():.3f} ± {one[24].std():.3f} (0.115); "
        f"4th {np.median(longer):+.1f} min ({longer.min():.0f}-{longer.max():.0f})"
    )
    assert one[12].mean() == pytest.approx(0.365, abs=0.03)
    assert one[24].mean() == pytest.approx(0.115, abs=0.025)
    assert 3.0 <= np.median(longer) <= 30.0


def test_what_the_trial_leaves_open_stays_open() -> None:
    """Two decades of diffusivity and three of re-wetting.

    The families that follow the trial (fast, slow with coats that hardly drink) are both among the members.
    """
    members = drawn().members
    dry = members.diffusivity[:, 1] * 1e-8
    assert dry.min() < 1e-10
    assert dry.max() > 1e-8
    assert members.rewetting[:, 1].min() < 3.0
    assert members.rewetting[:, 1].max() > 1000.0
    assert members.exponent.min() < 3.0
    assert members.exponent.max() > 7.0


@pytest.mark.slow
def test_the_kept_draw_is_what_the_code_draws() -> None:
    assert np.abs(drawn_points(MEMBERS, SEED) - default_points()).max() < 1e-8
    assert np.abs(drawn_points(MOST_MEMBERS, SEED) - default_wide_points()).max() < 1e-8


@pytest.mark.parametrize("wide", [1, 64, 256])
def test_points_to_learn_from_are_a_part_of_those_kept(wide: int) -> None:
    points = wide_points(wide)
    assert len(np.unique(points, axis=0)) == wide
    assert {tuple(one) for one in points} <= {tuple(one) for one in default_wide_points()}
    with pytest.raises(ValueError, match="257 points is outside 1 to 256"):
        wide_points(257)


def test_a_smaller_draw_is_a_part_of_the_whole_and_one_is_the_centre() -> None:
    few, all_of_them = drawn(8), drawn()
    assert set(few.members.water[:, 1]) < set(all_of_them.members.water[:, 1])
    assert few.effective_size == pytest.approx(8.0)
    assert drawn(1).members is CENTRE
    for count in (0, 257):
        with pytest.raises(ValueError, match=f"{count} members is outside 1 to 256"):
            drawn(count)


def test_fewer_members_with_the_slower_kernel(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SLOWCORNER_KERNEL", "numpy")
    assert default_count() == 8


def test_another_draw_has_another_name() -> None:
    changed = priors_from({"lee": [-1, 0, 1]})
    keys = {key_of(32, SEED), key_of(31, SEED), key_of(32, SEED + 1), key_of(32, SEED, changed)}
    assert len(keys) == 4


class TestPriors:
    def test_points_and_members_undo_each_other(self) -> None:
        points = default_points()
        members = members_at(points)
        again = members_at(points_of(members))
        for name in CENTRE.__dataclass_fields__:
            assert getattr(again, name) == pytest.approx(getattr(members, name), rel=1e-9, abs=1e-9), name

    def test_every_axis_says_where_it_comes_from(self) -> None:
        assert len(set(names())) == len(PRIORS)
        for prior in PRIORS:
            assert prior.source
            assert prior.least <= prior.low <= prior.centre <= prior.high <= prior.most

    @pytest.mark.parametrize("prior", PRIORS, ids=names())
    def test_tenths_and_halves(self, prior: object) -> None:
        """By definition of the table: half lies below the centre, a tenth beyond each end of a normal one."""
        row = next(one for one in PRIORS if one is prior)
        ends = row.values(np.array([-1.2815515655446004, 0.0, 1.2815515655446004]))
        assert ends[1] == pytest.approx(row.centre)
        if "even" not in row.form:
            assert ends == pytest.approx([row.low, row.centre, row.high])
        else:
            assert row.values(np.array([-9.0, 9.0])) == pytest.approx([row.low, row.high])

    def test_a_person_may_change_one(self) -> None:
        changed = priors_from({"water": [0.9, 1.05, 1.2]})
        row = changed[names().index("water")]
        assert (row.low, row.centre, row.high) == (0.9, 1.05, 1.2)
        assert priors_from(None) == PRIORS

    @pytest.mark.parametrize(
        ("said", "named"),
        [
            ({"slurry": [1, 2, 3]}, "prior 'slurry' is not one of air_speed"),
            ({"water": [1, 2]}, r"prior water: \[1, 2\] is not \[low, centre, high\]"),
            ({"water": "much"}, "prior water: 'much' is not"),
            ({"water": [0.9, 1.0, 7]}, "prior water: high 7 is outside 0.5 to 2"),
            ({"water": [0.9, float("nan"), 1.1]}, "prior water: centre nan is not a finite number"),
            ({"exponent": [8, 4, 2]}, "prior exponent: 8, 4, 2 do not rise"),
        ],
    )
    def test_what_cannot_be_is_refused(self, said: dict[str, object], named: str) -> None:
        with pytest.raises(PriorError, match=named):
            priors_from(said)


class TestQuantiles:
    @given(
        st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40),
        st.floats(0.0, 1.0),
    )
    @settings(max_examples=60, deadline=None)
    def test_laws(self, values: list[float], level: float) -> None:
        """One of the values; order does not matter; a higher level gives a higher value."""
        weights = np.full(len(values), 1.0 / len(values))
        found = weighted_quantile(values, weights, level)
        assert found in values
        assert weighted_quantile(values[::-1], weights, level) == found
        assert weighted_quantile(values, weights, min(1.0, level + 0.1)) >= found

    def test_rounded_outwards(self) -> None:
        """Of 32 even members percentile 10 is the third (3/32 < 0.1), 90 the 29th (29/32 > 0.9)."""
        values, weights = np.arange(1.0, 33.0), np.full(32, 1.0 / 32)
        assert [weighted_quantile(values, weights, level) for level in (0.1, 0.5, 0.9)] == [3.0, 16.0, 29.0]

    def test_weights_count_and_what_has_none_does_not(self) -> None:
        assert weighted_quantile([1.0, 2.0, 9.0], np.array([0.0, 0.05, 0.95]), 0.5) == 9.0
        assert weighted_quantile([1.0, 2.0, 9.0], np.array([0.0, 0.95, 0.05]), 0.9) == 2.0
        assert weighted_quantile([1.0, 2.0, np.inf], np.full(3, 1 / 3), 0.9) == np.inf
        with pytest.raises(ValueError, match="not a number"):
            weighted_quantile([np.nan], np.ones(1), 0.5)

    def test_enough_is_the_upper_quantile(self) -> None:
        even = Ensemble(members_at(np.zeros((10, len(PRIORS)))), np.ones(10))
        times = np.arange(10.0)
        for now in times:
            assert even.enough(times <= now, 0.9) == (even.quantile(times, 0.9) <= now)

    @pytest.mark.parametrize("weights", [np.zeros(1), np.array([np.nan]), np.array([-1.0]), np.ones(2)])
    def test_weights_that_cannot_be(self, weights: NDArray[np.float64]) -> None:
        with pytest.raises(ValueError, match="weights"):
            Ensemble(CENTRE, weights)


class TestMembers:
    def test_the_lee_is_where_a_joint_lies_in_the_films_spread(self) -> None:
        """The slower its film, the later: a face keeps its own columns whatever the lee."""
        points = np.zeros((3, len(PRIORS)))
        points[:, names().index("lee")] = [-1.5, 0.0, 1.5]
        members = members_at(points)
        joint = after(dipped("joint:60", members=members), SHOP, 60.0).remaining()
        assert joint[0] > joint[1] > joint[2]
        face = after(dipped("face", members=members), SHOP, 60.0).remaining()
        assert face[0] == face[1] == face[2]

    def test_a_sensor_that_reads_damp_is_taken_for_drier(self) -> None:
        points = np.zeros((3, len(PRIORS)))
        points[:, names().index("rh_pct")] = [-2.0, 0.0, 2.0]
        left = after(dipped(members=members_at(points)), SHOP, 60.0).remaining()
        assert left[0] < left[1] < left[2]

    def test_figures_by_kind_go_to_coats_of_that_kind(self) -> None:
        by_kind = replace(CENTRE, water=np.array([[0.9, 1.0, 1.2]]))
        coats = [coat("seal"), coat("prime"), coat("backup")]
        assert by_kind.by_coat("water", coats).tolist() == [[1.2, 0.9, 1.0]]
        brought = [float(dipped(kind=kind, members=by_kind).brought_kg[0]) for kind in ("prime", "seal")]
        assert brought == pytest.approx([0.9 * 0.22, 1.2 * 0.14])
