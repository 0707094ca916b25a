"""The page of what is believed: each figure with its source, changed within limits; what was learned."""

import re
from dataclasses import fields

import pytest

from server.believing import believed, prior_ensemble
from server.drying.materials import Members, kind_column
from server.drying.priors import PRIORS
from server.store import ensembles, measurements
from server.store.values import Generation, NewMeasurement
from tests.service.fake_shop import NOON, Browser, FakeShop


def typed(web: Browser) -> dict[str, str]:
    """What stands in the form as it is sent."""
    html = web.get("/shop/beliefs").text
    found = re.findall(r'<input(?: type="number")? name="([^"]+)" value="([^"]*)"', html)
    assert len(found) == 2 + 3 * len(PRIORS)
    return dict(found)


def test_every_prior_is_told_with_its_source(web: Browser) -> None:
    page = web.get("/shop/beliefs").text
    for prior in PRIORS:
        for words in (prior.meaning, prior.source):
            shown = (words[:1].upper() + words[1:]).replace("'", "&#39;")
            assert shown in page
    assert "/shop/beliefs" in web.get("/shop").text


def test_sent_as_it_stands_it_changes_nothing(web: Browser, shop: FakeShop) -> None:
    before = believed(shop.engine)
    assert web.post("/shop/beliefs", data=typed(web)).status_code == 303
    assert believed(shop.engine) == before
    assert shop.rack.believed_anew == 0


def test_a_changed_figure_is_kept_shown_and_set_back(web: Browser, shop: FakeShop) -> None:
    said = {**typed(web), "air_speed_centre": "1,2", "confidence": "80", "members": "16"}
    assert web.post("/shop/beliefs", data=said).status_code == 303
    now = believed(shop.engine)
    assert (now.priors[0].name, now.priors[0].centre, now.confidence, now.members) == (
        "air_speed",
        1.2,
        0.8,
        16,
    )
    assert shop.rack.believed_anew == 1
    assert web.get("/shop/beliefs").text.count("<b>Changed</b>") == 1
    assert "with 1 figure changed" in web.get("/shop").text
    assert web.post("/shop/beliefs/usual").status_code == 303
    assert believed(shop.engine).priors == PRIORS
    assert shop.rack.believed_anew == 2
    assert "as usual" in web.get("/shop").text


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"air_speed_high": "99"}, "prior air_speed: high 99 is outside 0.05 to 10"),
        ({"water_low": "much"}, "water, low: &#39;much&#39; is not a number"),
        ({"confidence": "100"}, "setting confidence: 1 is outside 0.5 to 0.99"),
        ({"members": "0"}, "setting members: 0 is not a whole number from 1"),
        ({"members": "3.5"}, "members: &#39;3.5&#39; is not a whole number"),
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(
    web: Browser, shop: FakeShop, changes: dict[str, str], fault: str
) -> None:
    before = believed(shop.engine)
    answer = web.post("/shop/beliefs", data={**typed(web), **changes})
    assert answer.status_code == 422
    assert fault in answer.text
    assert f'value="{next(iter(changes.values()))}"' in answer.text
    assert believed(shop.engine) == before
    assert shop.rack.believed_anew == 0


def test_what_a_kind_of_coat_has_of_its_own_is_told_and_forgotten(web: Browser, shop: FakeShop) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    measurements.add_measurement(shop.engine, NewMeasurement(tree.id, "weighing", NOON, NOON, value=2.0))
    prior = prior_ensemble(shop.engine, believed(shop.engine))
    members = {item.name: getattr(prior.members, item.name).tolist() for item in fields(Members)}
    backup, prime = kind_column("backup"), kind_column("prime")
    for row in members["water"]:
        row[prime] = 1.2 * row[backup]
    weights = (1.0 / prior.count,) * prior.count
    said = Generation("drying-room", 1, prior.seed, "measured", NOON, members, weights, ((1, 0.1),))
    ensembles.keep_generation(shop.engine, said)
    page = web.get("/shop/beliefs").text
    assert "A prime dip brings 1.2 x as much over its recipe as a backup dip does (1.2 to 1.2 x)." in page
    assert "From 1 weighing on Heron." in page
    assert "Nothing yet: weigh, touch or measure a tree here." in page  # in the cellar
    answer = web.post("/places/drying-room/forget")
    assert (answer.status_code, answer.headers["location"]) == (303, "/shop/beliefs")
    assert shop.rack.learned == [("drying-room", "forgotten")]
