"""Fit to dip and dry through, and the way there."""

import pytest

from sensors.air import Air
from server.drying.ensemble import ALONE
from server.drying.materials import (
    COOLING_LIMIT_K,
    DRY_THROUGH_LIMIT,
    KINDS,
    MaterialError,
    coat,
    fit_limit,
)
from server.drying.verdict import MOST_POINTS, is_dry_through, is_fit, time_to_fit
from tests.drying.shells import SHOP, after, dipped


def test_fresh_is_not_fit_and_dry_is() -> None:
    shell = dipped()
    assert not is_fit(shell, SHOP, "backup")
    dry = after(shell, SHOP, 360.0)
    assert is_fit(dry, SHOP, "backup")
    assert is_dry_through(dry)
    assert not is_dry_through(shell)


def test_a_damp_shell_in_damp_air_is_not_fit_though_it_hardly_cools() -> None:
    """Above 90 %RH nothing is called fit, and a soaking shell in cold damp air fails by what remains."""
    soaking = after(dipped(), Air(8.0, 88.0, 0.05), 60.0)
    assert float(soaking.cooling_k()[0]) < COOLING_LIMIT_K
    assert not is_fit(soaking, Air(8.0, 88.0, 0.05), "backup")
    dry = after(dipped(), SHOP, 360.0)
    assert is_fit(dry, Air(21.0, 90.0, 0.6), "backup")
    assert not is_fit(dry, Air(21.0, 90.5, 0.6), "backup")


def test_little_water_that_still_evaporates_fast_is_not_fit() -> None:
    shell, minutes = dipped(), 0
    while float(shell.remaining()[0]) > fit_limit("prime"):
        shell, minutes = shell.advance(SHOP, 60.0), minutes + 1
    assert float(shell.cooling_k()[0]) > COOLING_LIMIT_K
    assert not is_fit(shell, SHOP, "prime")


@pytest.mark.parametrize("code", ["face", "pocket:12x20", "joint:45"])
@pytest.mark.parametrize("kind", ["prime", "backup"])
def test_the_time_ahead_is_when_it_comes(code: str, kind: str) -> None:
    shell = after(dipped(code, kind), SHOP, 20.0)
    ahead = time_to_fit(shell, SHOP)
    assert ahead.seconds is not None
    before = after(shell, SHOP, (ahead.seconds - 120.0) / 60.0)
    later = after(shell, SHOP, (ahead.seconds + 120.0) / 60.0)
    assert not is_fit(before, SHOP, kind)
    assert is_fit(later, SHOP, kind)
    assert ahead.curve(ALONE)[0] == (0.0, float(shell.remaining()[0]))
    assert len(ahead.curve(ALONE)) <= MOST_POINTS
    assert ahead.curve(ALONE)[-1][0] >= ahead.seconds
    assert [at for at, _ in ahead.curve(ALONE)] == sorted(at for at, _ in ahead.curve(ALONE))


def test_what_is_fit_now_is_fit_in_no_time() -> None:
    dry = after(dipped(), SHOP, 360.0)
    assert time_to_fit(dry, SHOP).seconds == 0.0


def test_dry_through_takes_its_own_time() -> None:
    shell = dipped(older=4)
    through = time_to_fit(shell, SHOP, last_coat=True)
    assert through.seconds is not None
    later = after(shell, SHOP, through.seconds / 60.0 + 3.0)
    assert is_dry_through(later)
    assert (
        float(after(shell, SHOP, through.seconds / 60.0 - 3.0).shell_water_fraction()[0]) > DRY_THROUGH_LIMIT
    )


@pytest.mark.parametrize("air", [Air(15.0, 95.0, 0.1), Air(15.0, 90.01, 2.0)])
def test_in_air_too_damp_it_never_is(air: Air) -> None:
    ahead = time_to_fit(dipped(), air)
    assert ahead.seconds is None
    assert ahead.curve(ALONE)


def test_no_end_of_waiting_is_noticed_before_the_horizon() -> None:
    """At 95 %RH the coats stay wetter than equilibrium at 60 % allows: never dry through, however long."""
    ahead = time_to_fit(dipped(older=9), Air(20.0, 95.0, 1.0), last_coat=True)
    assert ahead.seconds is None
    assert ahead.curve(ALONE)[-1][0] < 14 * 86400.0


def test_the_horizon_ends_it() -> None:
    ahead = time_to_fit(dipped("pocket:12x200"), SHOP, horizon_s=3600.0)
    assert ahead.seconds is None
    assert ahead.curve(ALONE)[-1][0] == 3600.0


class TestCoats:
    def test_limits_by_kind(self) -> None:
        """Ten per cent for a prime coat, five for the others."""
        assert [fit_limit(kind) for kind in KINDS] == [0.05, 0.10, 0.05]

    def test_a_recipes_coat(self) -> None:
        thick = coat("backup", 1.5, 0.6)
        assert thick.fresh_saturation == 1.0
        assert thick.saturation_kg_m3 == pytest.approx(400.0)
        assert coat("backup", 2.0).water_kg_m2 == pytest.approx(0.64)

    @pytest.mark.parametrize(
        ("kind", "thickness", "water", "named"),
        [
            ("dip", None, None, "'dip' is not one of prime, backup, seal"),
            ("seal", 0.0, None, "thickness 0 mm is outside 0.05 to 10"),
            ("seal", float("nan"), None, "thickness nan mm"),
            ("backup", 1.0, 2.0, "2 kg/m² in 1 mm is 2000 kg/m³, outside 70 to 900"),
            ("backup", 1.0, -0.1, "outside 70 to 900"),
        ],
    )
    def test_what_cannot_be_is_refused(
        self, kind: str, thickness: float | None, water: float | None, named: str
    ) -> None:
        with pytest.raises(MaterialError, match=named):
            coat(kind, thickness, water)
