"""What would save time: on a tree's page, over the API, and asked of the live rack."""

from server.drying.whatif import Change, Spread, WhatIf
from tests.service.fake_shop import Browser, FakeShop, problem
from tests.service.test_pages import read

HOUR_S = 3600.0

FOUND = WhatIf(
    as_it_is=Spread(4 * HOUR_S, 5 * HOUR_S, None),
    changes=(
        Change(
            "fan",
            "a fan, 1.5 m/s at the tree",
            fit_after=Spread(2 * HOUR_S, 3 * HOUR_S, 4 * HOUR_S),
            saved=Spread(HOUR_S, 2 * HOUR_S, 3 * HOUR_S),
        ),
        Change(
            "drier", "air 10 %RH drier", refused="Never on a prime coat: it would dry too fast and crack."
        ),
        Change(
            "warmer",
            "air 3 °C warmer",
            fit_after=Spread(HOUR_S, HOUR_S, None),
            saved=Spread(None, None, None),
        ),
        Change(
            "joint:60",
            "joints opened to 60°",
            fit_after=Spread(60.0, 60.0, 60.0),
            saved=Spread(0.0, 0.0, 0.0),
        ),
        Change("joint:90", "joints opened to 90°", saved=Spread(0.0, 0.0, 0.0)),
    ),
)


def test_the_page_works_it_out_when_it_is_asked(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", 4, "drying", remaining=0.3)
    shop.rack.what_ifs[tree.id] = FOUND
    before = web.get(f"/trees/{tree.id}").text
    assert f'href="/trees/{tree.id}?what_if=yes#what-if"' in before
    assert "m/s at the tree" not in before
    text = read(web, f"/trees/{tree.id}?what_if=yes").text
    for words in (
        "a fan, 1.5 m/s at the tree saves 1-3 h fit after 2-4 h",
        "air 10 %RH drier not tried Never on a prime coat",
        "air 3 °C warmer comes to an end only so fit after about 1 h or more",
        "joints opened to 60° saves nothing to speak of",
        "joints opened to 90° no end in sight with it either",
        "carbon monoxide",
    ):
        assert words in text
    problem_page = web.get(f"/trees/{tree.id}?what_if=maybe")
    assert problem_page.status_code == 422


def test_a_page_without_a_drying_coat_offers_nothing(shop: FakeShop, web: Browser) -> None:
    for hook, state in (("A1", "fit"), ("A2", "unsure"), ("A3", "new")):
        tree = shop.hang("Heron", hook, 0 if state == "new" else 4, state)  # type: ignore[arg-type]
        assert "What would save time" not in web.get(f"/trees/{tree.id}?what_if=yes").text
    drying = shop.hang("Snipe", "B1", 4, "drying", remaining=0.3)
    assert "Nothing can be compared" in read(web, f"/trees/{drying.id}?what_if=yes").text


def test_the_api_tells_it_as_figures(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", 4, "drying", remaining=0.3)
    details = problem(web.get(f"/api/trees/{tree.id}/what-if"), 409)
    assert "no coat that dries" in details["detail"]
    problem(web.get("/api/trees/999/what-if"), 404)
    shop.rack.what_ifs[tree.id] = FOUND
    answer = web.get(f"/api/trees/{tree.id}/what-if").json()
    assert (answer["id"], answer["label"]) == (tree.id, "Heron")
    assert answer["fit_after_s"] == {"p10": 4 * HOUR_S, "p50": 5 * HOUR_S, "p90": None}
    fan, drier = answer["changes"][:2]
    assert fan == {
        "change": "fan",
        "words": "a fan, 1.5 m/s at the tree",
        "refused": None,
        "fit_after_s": {"p10": 7200.0, "p50": 10800.0, "p90": 14400.0},
        "saved_s": {"p10": 3600.0, "p50": 7200.0, "p90": 10800.0},
    }
    assert drier["refused"].startswith("Never on a prime coat")
    assert drier["saved_s"] == {"p10": None, "p50": None, "p90": None}
    assert "1.6 kg of water" in answer["notes"][0]
