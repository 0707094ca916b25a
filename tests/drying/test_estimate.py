"""How long one coat takes: the figures a person gets without a server."""

from typing import Any

import pytest

from server.drying.estimate import Estimate, estimate
from server.drying.verdict import MOST_POINTS


def said(
    kind: str = "backup", layer: int = 1, spots: tuple[str, ...] = ("face", "joint:30"), **air: float
) -> Estimate:
    usual = {"temp_c": 21.0, "rh_pct": 50.0, "air_speed_m_s": 0.6, "size_mm": 25.0, "fillet_mm": 2.0}
    figures: dict[str, Any] = usual | air
    return estimate(kind=kind, layer=layer, spots=spots, **figures)


def test_every_spot_and_which_is_last() -> None:
    found = said(spots=("edge", "joint:30", "joint:90", "pocket:12x40"))
    assert [spot.spot for spot in found.spots] == ["face", "joint:30", "joint:90", "pocket:12x40"]
    times = {spot.spot: spot.fit_after_s[1] for spot in found.spots}
    print({code: None if s is None else round(s / 3600, 2) for code, s in times.items()})
    assert found.fit_after_s[1] == times[found.slowest] == max(t for t in times.values() if t is not None)
    for spot in found.spots:
        assert spot.water_left[0] == (0.0, pytest.approx(1.0))  # type: ignore[comparison-overlap]
        assert len(spot.water_left) <= MOST_POINTS
        assert 10.0 < spot.coldest_c < 21.0


def test_the_sharp_joint_is_last_of_faces_and_joints() -> None:
    """Common practice: sharp angles dry last."""
    assert said(spots=("face", "joint:90", "joint:30")).slowest == "joint:30"


def test_a_fourth_layer_takes_longer_and_a_prime_coat_less() -> None:
    first, fourth, prime = (said(kind, layer, ("face",)).fit_after_s[1] for kind, layer in
                            (("backup", 1), ("backup", 4), ("prime", 1)))  # fmt: skip
    assert first is not None
    assert fourth is not None
    assert prime is not None
    assert prime < first < fourth


def test_null_where_it_never_is() -> None:
    found = said(rh_pct=95.0)
    assert found.fit_after_s == (None, None, None)
    assert all(spot.fit_after_s == (None, None, None) for spot in found.spots)
    assert found.spots[0].water_left


def test_a_spot_that_never_is_fit_is_the_slowest() -> None:
    found = said(spots=("pocket:12x500", "face"), temp_c=8.0, rh_pct=85.0)
    assert found.slowest == "pocket:12x500"


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"kind": "slip"}, "coat kind 'slip'"),
        ({"layer": 0}, "layer 0 is outside 1 to 30"),
        ({"spots": ("joint:0",)}, "joint angle 0°"),
        ({"spots": ()}, "no spot"),
        ({"rh_pct": 120.0}, "relative humidity 120 %"),
        ({"rh_pct": float("nan")}, "relative humidity nan %"),
        ({"temp_c": 90.0}, "air temperature 90 °C"),
        ({"air_speed_m_s": -1.0}, "air speed -1 m/s"),
        ({"size_mm": 0.0}, "face along the air 0 mm"),
        ({"fillet_mm": -2.0}, "fillet radius -2 mm"),
        ({"spots": ("cavity:60x0.2,packed",)}, "cannot be judged"),
    ],
)
def test_what_cannot_be_is_refused(given: dict[str, object], named: str) -> None:
    with pytest.raises(ValueError, match=named):
        said(**given)  # type: ignore[arg-type]
