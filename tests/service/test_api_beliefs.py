"""What the shop believes, read and changed over HTTP."""

import pytest

from server.believing import believed
from server.drying.priors import PRIORS
from tests.service.fake_shop import Browser, FakeShop


def test_every_prior_is_there_to_read_with_its_source(web: Browser) -> None:
    answer = web.get("/api/beliefs").json()
    assert answer["confidence"] == 0.9
    assert [prior["name"] for prior in answer["priors"]] == [prior.name for prior in PRIORS]
    assert all(prior["source"] and prior["meaning"] for prior in answer["priors"])


def test_a_change_is_kept_and_judged_by(web: Browser, shop: FakeShop) -> None:
    said = {"confidence": 0.8, "members": 16, "priors": {"water": [0.9, 1.0, 1.1]}}
    answer = web.ask("PATCH", "/api/beliefs", json=said)
    assert answer.status_code == 200
    water = next(prior for prior in answer.json()["priors"] if prior["name"] == "water")
    assert (water["low"], water["centre"], water["high"]) == (0.9, 1.0, 1.1)
    kept = believed(shop.engine)
    assert (kept.members, kept.confidence) == (16, 0.8)
    assert shop.rack.believed_anew == 1
    back = web.ask("PATCH", "/api/beliefs", json={"priors": None, "confidence": None}).json()
    assert back["confidence"] == 0.9
    assert believed(shop.engine).priors == PRIORS
    assert believed(shop.engine).members == 16


@pytest.mark.parametrize(
    ("said", "named"),
    [
        ({"priors": {"water": [0.9, 1.0, 7.0]}}, "prior water: high 7 is outside 0.5 to 2"),
        ({"priors": {"slurry": [1.0, 2.0, 3.0]}}, "'slurry' is not one of"),
        ({"priors": {"water": [1.0]}}, ""),
        ({"members": 1000}, ""),
        ({"confidence": 0.2}, ""),
        ({"sureness": 0.2}, ""),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(
    web: Browser, shop: FakeShop, said: dict[str, object], named: str
) -> None:
    answer = web.ask("PATCH", "/api/beliefs", json=said)
    assert answer.status_code == 422
    assert named in answer.json()["detail"]
    assert believed(shop.engine) == believed(shop.engine).__class__(members=believed(shop.engine).members)
    assert shop.rack.believed_anew == 0
