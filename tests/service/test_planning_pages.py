"""The pages of the next dips and the pour day, and what is said on them."""

import pytest

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS
from server.drying.whatif import Change, Spread, WhatIf
from server.store import plans as plan_store
from tests.service.fake_shop import NOON, Browser, FakeShop, problem


@pytest.fixture
def rack(shop: FakeShop) -> FakeShop:
    due = Quantiles(*(NOON + round(hours * HOUR_MS) for hours in (0.8, 1.2, 1.9)))
    shop.hang("Heron", "A1", 3, "fit", fit=Quantiles(NOON, NOON, NOON))
    shop.hang("Bittern", "A2", 4, "drying", fit=due, remaining=0.2)
    shop.hang("Snipe", "A3", 0, "new")
    shop.hang("Avocet", "A4", 2, "unsure")
    return shop


def test_the_list_has_an_order_a_last_line_and_says_who_cannot_be_planned(
    rack: FakeShop, web: Browser
) -> None:
    web.get("/next")
    rack.parts.plan_desk.times.wait(60.0)
    page = web.get("/next").text
    assert page.index("Heron") < page.index("Bittern")
    assert "before you leave" in page
    assert "Not planned, for nobody can tell when they are fit: Avocet." in page
    assert "About 8 min each" in page
    assert "still being reckoned" not in page


def test_a_tree_that_is_said_to_be_next_leads_the_list(rack: FakeShop, web: Browser) -> None:
    tree = next(one for one in rack.rack.outlooks() if one.label == "Snipe").tree_id
    assert web.post("/next/said", data={"tree": str(tree)}).status_code == 303
    page = web.get("/next").text
    assert page.index("Snipe") < page.index("Heron")
    assert "you said it is next" in page
    assert web.post("/next/said", data={"tree": "999"}).status_code == 404


def test_words_on_the_coming_air_are_kept_and_taken_back(rack: FakeShop, web: Browser) -> None:
    form = {"kind": "colder", "amount": "5", "hours": "15", "place": "cellar"}
    assert web.post("/next/air", data=form).status_code == 303
    (word,) = plan_store.words(rack.engine, NOON)
    assert (word.place, word.kind, word.end) == ("cellar", "colder", NOON + 15 * HOUR_MS)
    assert "Cellar: colder by 5 K" in web.get("/next").text
    refused = web.post("/next/air", data={**form, "amount": "55"})
    assert refused.status_code == 422
    assert "colder by 55 K is outside 0.5 to 20 K" in refused.text.replace("Colder", "colder")
    assert web.post(f"/next/air/{word.id}/undo").status_code == 303
    assert plan_store.words(rack.engine, NOON) == []
    assert rack.rack.air_saids == 2


def test_the_pour_day_is_set_shown_and_refused_where_it_is_past(rack: FakeShop, web: Browser) -> None:
    assert web.post("/next/pour", data={"day": "2026-03-12", "hour": "08:00"}).status_code == 303
    page = web.get("/next/pour").text
    assert "Thu 12 Mar, 08:00" in page
    assert "Coat 4 by" in page
    assert "<svg" in page
    for day, words in (("2026-03-01", "past"), ("2026-99-01", "is not a day"), ("2027-01-01", "60 days")):
        refused = web.post("/next/pour", data={"day": day, "hour": "08:00"})
        assert refused.status_code == 422
        assert words in refused.text
    assert plan_store.pour_day(rack.engine) is not None
    assert web.post("/next/pour", data={"day": ""}).status_code == 303
    assert plan_store.pour_day(rack.engine) is None


def test_a_late_tree_says_what_would_buy_time_and_nothing_on_a_prime(rack: FakeShop, web: Browser) -> None:
    hour = Spread(1800.0, 3600.0, 7200.0)
    late = rack.hang("Teal", "A5", 8, "drying", fit=Quantiles(*3 * (NOON + HOUR_MS,)), remaining=0.5)
    prime = rack.hang("Ruff", "A6", 1, "drying", fit=Quantiles(*3 * (NOON + HOUR_MS,)), remaining=0.5)
    refused = Change("fan", "a fan", "Never on a prime coat: it would dry too fast and crack.")
    rack.rack.what_ifs = {
        late.id: WhatIf(hour, (Change("fan", "a fan", "", hour, hour),)),
        prime.id: WhatIf(hour, (refused,)),
    }
    assert web.post("/next/pour", data={"day": "2026-03-03", "hour": "08:00"}).status_code == 303
    page = web.get("/next/pour").text
    assert f'href="/next/pour?buy={late.id}#tree-{late.id}"' in page
    assert "which is drying" not in page
    asked = web.get(f"/next/pour?buy={late.id}").text
    assert "On coat 8 of 10, backup, which is drying:" in asked
    assert "saves 30 min to 2 h" in asked
    assert "On the backup coat to come:" in asked
    drier = asked.split("On the backup coat to come:")[1].split("air 10 %RH drier")[1]
    assert drier.split("<td>")[1].startswith("saves ")
    on_prime = web.get(f"/next/pour?buy={prime.id}").text
    under_way, coming = on_prime.split("On each of the 7 backup coats to come:")
    assert under_way.count("saves ") == 0
    assert "Never on a prime coat" in under_way
    assert "the wax would grow inside a thin shell" in coming
    # Who is in time, or not there, has nothing to ask; and a coat fewer is never offered.
    assert "which is drying" not in web.get("/next/pour?buy=999").text
    assert "fewer coats" not in asked


def test_no_hours_of_work_says_so_and_names_who_waits(rack: FakeShop, web: Browser) -> None:
    assert web.post("/next/hours", data={"opens": "08:00"}).status_code == 303
    page = web.get("/next").text
    assert "No hours of work are set" in page
    assert "No time for" in page
    assert "Not in sight within the hours of work" in web.get("/next/pour").text


def test_the_api_gives_the_plan_in_order(rack: FakeShop, web: Browser) -> None:
    web.post("/next/pour", data={"day": "2026-03-12", "hour": "08:00"})
    web.get("/api/plan")
    rack.parts.plan_desk.times.wait(60.0)
    plan = web.get("/api/plan").json()
    starts = [dip["starts"] for dip in plan["dips"]]
    assert starts == sorted(starts)
    assert plan["dips"][0]["label"] in ("Heron", "Snipe")
    assert plan["pour_day"] == "2026-03-12T06:00:00Z"
    heron = next(tree for tree in plan["trees"] if tree["label"] == "Heron")
    assert len(heron["coats"]) == 7
    assert heron["burnout_from"]["p50"] <= heron["burnout_from"]["p90"]
    assert plan["not_planned"] == ["Avocet"]
    one = web.get("/api/plan", params={"from": starts[1], "to": starts[1]}).json()
    assert {dip["starts"] for dip in one["dips"]} == {starts[1]}
    problem(web.get("/api/plan", params={"from": starts[1], "to": "2026-03-01T00:00:00Z"}), 422)
