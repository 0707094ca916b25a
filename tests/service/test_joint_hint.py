"""What a corner's angle does to its drying: the call against the model itself, and its words."""

from typing import Any

import httpx
import numpy as np
import pytest

from sensors.air import Air
from server.drying.drawing import SEED, default_count, drawn
from server.drying.ensemble import ALONE
from server.drying.joint_hint import JointHint, compared, seconds_to_fit
from server.drying.materials import coat
from server.drying.priors import PRIORS
from server.drying.whatif import NO_END, Spread
from server.joint_hints import backup_coat, hint_words
from server.store.values import Recipe, RecipeCoat
from tests.service.fake_shop import Browser, FakeShop, problem

HOUR_S = 3600.0


def ask(web: Browser, **change: Any) -> httpx.Response:
    asked = {"place": "drying-room", "recipe": 1, "angle_deg": 30, "size_mm": 25}
    return web.get("/api/joint-hint", params=asked | change)


def test_a_tight_corner_is_said_to_take_longer_and_what_opening_it_saves(
    shop: FakeShop, web: Browser
) -> None:
    shop.blow("drying-room")
    told = ask(web).json()
    assert (told["angle_deg"], told["coat"], told["kind"], told["air_assumed"]) == (30.0, 3, "backup", False)
    assert (told["temp_c"], told["rh_pct"]) == (18.0, 55.0)  # noon's air, in steps of 1 °C and 5 %
    assert [one["angle_deg"] for one in told["opened"]] == [60.0, 90.0]
    saved = [one["saved_s"]["p50"] for one in told["opened"]]
    assert 0 < saved[0] < saved[1] < told["fit_after_s"]["p50"]
    assert told["words"][0].startswith("At 30° about ")
    assert told["words"][1].startswith("Opened to 60° it would save about ")
    wide = ask(web, angle_deg=93).json()
    assert wide["angle_deg"] == 95.0
    assert wide["opened"] == []
    assert wide["times_flat"]["p50"] < told["times_flat"]["p50"]


def test_the_hint_is_what_the_model_says_of_each_member(shop: FakeShop, web: Browser) -> None:
    """Against the kernel itself, member by member, in the air that is assumed where none is known."""
    told = ask(web, place="cellar", angle_deg=60).json()
    assert told["air_assumed"]
    assert "assumed" in told["words"][-1]
    ensemble = drawn(default_count(), SEED, PRIORS)
    recipe = shop.recipe.coats[:3]
    coats = [coat(one.kind, one.thickness_mm, one.water_kg_m2) for one in recipe]
    air = Air(told["temp_c"], told["rh_pct"], told["air_speed_m_s"])
    joint, flat = (seconds_to_fit(code, coats, air, 25.0, ensemble) for code in ("joint:60", "face"))
    times = joint / flat
    assert told["times_flat"]["p50"] == ensemble.quantile(times, 0.5)
    assert told["times_flat"]["p90"] == ensemble.quantile(times, 0.9)
    assert told["fit_after_s"]["p50"] == ensemble.quantile(joint, 0.5)


def test_in_air_too_damp_nothing_is_promised(shop: FakeShop, web: Browser) -> None:
    shop.blow("cellar")
    shop.rack.airs["cellar"] = tuple(
        type(point)(point.time, point.temp_c, 97.0) for point in shop.rack.airs["cellar"]
    )
    told = ask(web, place="cellar").json()
    assert told["times_flat"] == {"p10": None, "p50": None, "p90": None}
    assert told["words"][0] == "In air so damp no coat is called fit, at whatever angle."


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"place": "attic"}, 404),
        ({"recipe": 99}, 404),
        ({"angle_deg": 5}, 422),
        ({"angle_deg": "nan"}, 422),
        ({"size_mm": 0}, 422),
        ({"size_mm": "inf"}, 422),
    ],
)
def test_a_hint_that_cannot_be_is_refused(web: Browser, change: dict[str, Any], status: int) -> None:
    problem(ask(web, **change), status)


def test_members_that_never_end_are_not_counted_as_saving() -> None:
    never = np.array([np.inf])
    hint = compared(never, np.array([3600.0]), {60.0: never, 90.0: np.array([60.0])}, ALONE)
    assert hint.times_flat.p50 is None
    assert hint.opened[60.0].p50 == 0.0
    assert hint.opened[90.0].p50 is None


def test_the_coat_that_is_reckoned_is_the_first_backup_coat() -> None:
    def recipe(*kinds: str) -> Recipe:
        return Recipe(1, "r", tuple(RecipeCoat(n, kind, 1.0, 0.3) for n, kind in enumerate(kinds, 1)))

    assert backup_coat(recipe("prime", "backup", "backup", "seal")) == 2
    assert backup_coat(recipe("prime", "prime")) == 2


@pytest.mark.parametrize(
    ("air", "hint", "words"),
    [
        (Air(20.0, 95.0, 0.6), None, "In air so damp no coat is called fit, at whatever angle."),
        (Air(80.0, 30.0, 0.6), None,
         "What the angle does cannot be told: the model does not cover air like this."),
        (Air(20.0, 89.0, 0.6), JointHint(NO_END, NO_END, NO_END, {}),
         "In air like this even the flat face takes more than 5 days, whatever the angle."),
        (Air(20.0, 50.0, 0.6), JointHint(NO_END, Spread(HOUR_S, HOUR_S, HOUR_S), NO_END, {60.0: NO_END}),
         "At 15° far longer than the flat face. Opened to 60° it would take less than 5 days."),
        (Air(20.0, 50.0, 0.6),
         JointHint(Spread(2 * HOUR_S, None, None), Spread(HOUR_S, HOUR_S, HOUR_S), Spread(2.0, None, None),
                   {60.0: Spread(0.0, 60.0, 600.0)}),
         "At 15° between 2 x the flat face’s time and far more. "
         "Opened to 60° it would save next to nothing. "
         "Coat 3, backup: about 2 h or far more at the joint; about 1 h on the face."),
    ],
)  # fmt: skip
def test_what_is_not_known_is_not_promised(air: Air, hint: JointHint | None, words: str) -> None:
    said = " ".join(hint_words(15.0, 3, "backup", air, False, hint))
    assert said.startswith(words)
    assert said.endswith(f"{air.temp_c:g} °C, {air.rh_pct:g} %RH, moving at 0.6 m/s.")


def test_a_dial_turned_back_is_answered_from_what_is_known(
    shop: FakeShop, web: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def counted(code: str, *rest: Any) -> Any:
        asked.append(code)
        return np.full(default_count(), 3600.0 if code == "face" else 7200.0)

    monkeypatch.setattr("server.joint_hints.seconds_to_fit", counted)
    for angle in (30, 45, 32, 30):
        assert ask(web, angle_deg=angle).json()["times_flat"]["p50"] == 2.0
    assert sorted(asked) == ["face", "joint:30", "joint:45", "joint:60", "joint:90"]
    ask(web, place="cellar", angle_deg=30)
    assert len(asked) == 9  # other air: all of it anew
