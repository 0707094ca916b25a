"""Codes of spots: what is read, what is refused and in which words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.drying.spots import CavitySpot, FaceSpot, JointSpot, PocketSpot, SpotError, parse_spot


@pytest.mark.parametrize(
    ("code", "spot", "words"),
    [
        ("face", FaceSpot(), "face"),
        ("edge", FaceSpot(), "face"),
        (" Joint:30 ", JointSpot(30.0), "30° joint"),
        ("joint:22.5", JointSpot(22.5), "22.5° joint"),
        ("pocket:12x40", PocketSpot(12.0, 40.0), "pocket 12 mm wide, 40 mm deep"),
        ("cavity:60x0.2", CavitySpot(60.0, 0.2), "hollow of 0.2 m² inside, mouth 60 mm wide"),
        ("cavity:60x0.2,blown", CavitySpot(60.0, 0.2, True), None),
    ],
)
def test_codes_are_read(code: str, spot: object, words: str | None) -> None:
    read = parse_spot(code)
    assert read == spot
    assert parse_spot(read.code) == read
    if words is not None:
        assert read.describe() == words


@pytest.mark.parametrize(
    ("code", "named"),
    [
        ("joint:0", ["joint angle", "0°", "15°", "150°"]),
        ("joint:181", ["joint angle", "181°", "150°"]),
        ("joint:-30", ["joint angle", "-30°"]),
        ("joint:nan", ["joint angle", "nan", "finite"]),
        ("joint:inf", ["joint angle", "finite"]),
        ("joint:wide", ["joint angle", "'wide'", "not a number"]),
        ("joint", ["'joint'", "not one of"]),
        ("", ["not one of"]),
        ("pocket:0x40", ["pocket mouth", "0 mm", "1 mm"]),
        ("pocket:12x-1", ["pocket depth", "-1 mm"]),
        ("pocket:12x1e9", ["pocket depth", "1000000000 mm", "500 mm"]),
        ("pocket:12", ["not one of"]),
        ("cavity:60x0", ["cavity inside area", "0 m²"]),
        ("cavity:60x0.2,sucked", ["not one of"]),
    ],
)
def test_what_cannot_be_is_refused_with_thing_value_and_limits(code: str, named: list[str]) -> None:
    with pytest.raises(SpotError) as refused:
        parse_spot(code)
    for word in named:
        assert word in str(refused.value)


@given(st.floats(15.0, 150.0), st.floats(1.0, 300.0), st.floats(0.0, 500.0))
def test_a_code_reads_back_as_the_same_spot(angle: float, mouth: float, depth: float) -> None:
    assert parse_spot(JointSpot(angle).code) == JointSpot(angle)
    pocket = parse_spot(PocketSpot(mouth, depth).code)
    assert isinstance(pocket, PocketSpot)
    assert pocket.mouth_mm == mouth
    assert pocket.depth_mm == pytest.approx(depth, abs=1e-12)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_plainly(text: str) -> None:
    try:
        spot = parse_spot(text)
    except SpotError:
        return
    assert parse_spot(spot.code) == spot
