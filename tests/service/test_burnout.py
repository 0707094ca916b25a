"""The judgement before burnout by itself, and over pages and API: answers, clearing, reopening, castings."""

import csv
import io
from dataclasses import replace

import pytest

from scheduler.forecast import NEVER, Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS
from server.burnout import Finding, ShellRecord, SpotWater, Weighed, find, why_not_cleared
from server.store import castings, clearings, measurements
from server.store import trees as tree_store
from server.store.values import NewMeasurement, Tree
from tests.service.fake_shop import NOON, Browser, FakeShop, problem

DRY = (SpotWater("face", "body", 0.001, 0.0005, 0.005), SpotWater("joint:30", "vent", 0.004, 0.003, 0.005))
DAMP = (DRY[0], SpotWater("joint:30", "vent", 0.012, 0.01, 0.005))
SOON = Quantiles(NOON + HOUR_MS, NOON + 2 * HOUR_MS, NOON + 3 * HOUR_MS)
REST = 24 * HOUR_MS


def record(**more: object) -> ShellRecord:
    said: dict[str, object] = {
        "coats_on": 10,
        "coats_in_all": 10,
        "state": "through",
        "spots": DRY,
        "last_at": NOON - 60 * HOUR_MS,
        "rested": REST,
        "rest": REST,
        "dry_at": SOON,
    }
    return ShellRecord(**(said | more))  # type: ignore[arg-type]


def words(finding: Finding) -> str:
    return " ".join(one.words for one in finding.reasons)


def hollow(packed: bool | None) -> SpotWater:
    return SpotWater("cavity:60x0.2", "belly", 0.001, 0.001, 0.005, packed)


def test_through_names_the_wettest_spot_its_limit_and_the_rest() -> None:
    found = find(record())
    assert found.answer == "through"
    assert "0.4 % of its dry mass" in words(found)
    assert "(the vent); the limit is 0.5 %" in words(found)
    assert "rested 24 h" in words(found)


def test_not_yet_says_which_spot_holds_how_much_and_how_long_it_has_rested() -> None:
    found = find(record(state="resting", spots=DAMP, rested=5 * HOUR_MS))
    assert found.answer == "not-yet"
    assert "at the vent holds 1.2 % of its dry mass" in words(found)
    assert "body" not in words(found)
    assert "rested 5 of 24 h" in words(found)
    assert found.dry_at == SOON
    assert find(record(coats_on=7, state="fit")).answer == "not-yet"


def test_a_tree_with_no_coat_is_not_yet(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Dunlin", "B2")
    check = web.get(f"/api/trees/{tree.id}/burnout-check").json()
    assert (check["answer"], check["coats"]) == ("not-yet", [])
    assert web.get(f"/trees/{tree.id}/burnout-check").status_code == 200
    assert web.get(f"/api/trees/{tree.id}/history").json()["coats"] == []


def test_without_an_end_in_sight_it_asks_for_a_measurement() -> None:
    found = find(record(state="resting", spots=DAMP, rested=0, dry_at=NEVER))
    assert found.answer == "not-yet"
    assert any("Touch the vent" in one.measure for one in found.reasons)


@pytest.mark.parametrize("state", ["through", "resting", "unsure", "drying", None])
@pytest.mark.parametrize("on", [10, 4])
def test_a_packed_hollow_is_always_cannot_say(state: str | None, on: int) -> None:
    found = find(record(state=state, spots=(*DRY, hollow(True)), coats_on=on))
    assert found.answer == "cannot-say"
    assert "belly is packed with core" in words(found)
    assert found.reasons[0].measure


def test_a_hollow_that_nobody_told_of_is_cannot_say_until_it_is_told() -> None:
    assert find(record(spots=(*DRY, hollow(None)))).answer == "cannot-say"
    assert find(record(spots=(*DRY, hollow(False)))).answer == "through"


def test_air_that_is_not_known_is_cannot_say_with_its_reason() -> None:
    found = find(record(state="unsure", air_reason="The air at cellar has not been known for 190 min."))
    assert found.answer == "cannot-say"
    assert "190 min" in words(found)
    assert "weigh it twice" in found.reasons[0].measure


def test_a_scale_that_still_falls_speaks_against_the_model() -> None:
    falling = (Weighed(NOON - 20 * HOUR_MS, 4.120), Weighed(NOON - HOUR_MS, 4.080))
    assert find(record(weighings=falling)).answer == "cannot-say"
    assert "fell by 40 g in the 19 h" in words(find(record(weighings=falling)))
    still = (Weighed(NOON - 20 * HOUR_MS, 4.120), Weighed(NOON - HOUR_MS, 4.110))
    near = (Weighed(NOON - 3 * HOUR_MS, 4.120), Weighed(NOON - HOUR_MS, 4.080))
    assert find(record(weighings=still)).answer == find(record(weighings=near)).answer == "through"


def test_over_another_answer_or_open_questions_only_with_a_written_reason() -> None:
    assert "not yet" in why_not_cleared(Finding("not-yet", ()), (), "  ")
    assert "cannot say" in why_not_cleared(Finding("cannot-say", ()), (), "")
    assert "The vents are open" in why_not_cleared(Finding("through", ()), ("vents",), "")
    assert why_not_cleared(Finding("cannot-say", ()), ("vents",), "core was fired before") == ""


TICKS = ["rim", "vents", "cracks", "furnace", "cup-down", "patches"]


def through(shop: FakeShop, **more: object) -> Tree:
    """A tree that the judge calls dry through."""
    return shop.hang("Curlew", "B3", 10, "through", fit=Quantiles(NOON, NOON, NOON), **more)  # type: ignore[arg-type]


def test_a_person_clears_a_dry_tree_and_it_leaves_the_rack(shop: FakeShop, web: Browser) -> None:
    tree = through(shop)
    address = f"/api/trees/{tree.id}"
    check = web.get(f"{address}/burnout-check").json()
    assert check["answer"] == "through"
    assert [one["yes"] for one in check["questions"]] == [None] * 6
    assert len(check["coats"]) == 10
    assert check["cautions"]
    refused = problem(web.post(f"{address}/burnout-check/clear", json={"who": "Ada"}), 409)
    assert "The vents are open" in refused["detail"]
    assert tree_store.tree(shop.engine, tree.id).left == ""  # type: ignore[union-attr]
    cleared = web.post(f"{address}/burnout-check/clear", json={"who": "Ada", "ticked": TICKS})
    assert cleared.status_code == 201, cleared.text
    assert cleared.json()["who"] == "Ada"
    assert cleared.json()["at"] == "2026-03-02T12:00:00Z"
    assert tree_store.tree(shop.engine, tree.id).left == "cleared"  # type: ignore[union-attr]
    assert shop.rack.refreshed == [tree.id]
    kept = web.get(f"{address}/burnout-check").json()
    assert all(one["yes"] and one["who"] == "Ada" for one in kept["questions"])
    assert kept["clearings"][0]["answer"] == "through"
    again = problem(web.post(f"{address}/burnout-check/clear", json={"who": "Ada", "why": "so"}), 409)
    assert "it was cleared" in again["detail"]
    assert len(web.get(f"{address}/history").json()["coats"]) == 10, "the history outlasts the rack"


def test_over_not_yet_only_with_a_written_reason(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Teal", "A4", 10, "resting", fit=SOON, remaining=0.1)
    address = f"/api/trees/{tree.id}/burnout-check/clear"
    refused = problem(web.post(address, json={"who": "Ada", "ticked": TICKS}), 409)
    assert "not yet" in refused["detail"]
    taken = web.post(address, json={"who": "Ada", "ticked": TICKS, "why": "Bar beside it is dry"})
    assert (taken.status_code, taken.json()["answer"]) == (201, "not-yet")
    assert taken.json()["why"] == "Bar beside it is dry"


def test_a_packed_hollow_is_answered_and_holds(shop: FakeShop, web: Browser) -> None:
    tree = through(shop, spots=(("face", "body"), ("cavity:60x0.2", "belly")))
    address = f"/api/trees/{tree.id}/burnout-check"
    assert web.get(address).json()["answer"] == "cannot-say"
    packed = {"who": "Ada", "answers": {"packed:cavity:60x0.2": False}}
    assert web.post(f"{address}/answers", json=packed).json()["answer"] == "through"
    packed["answers"] = {"packed:cavity:60x0.2": True}
    check = web.post(f"{address}/answers", json=packed).json()
    assert check["answer"] == "cannot-say"
    assert "packed with core" in check["reasons"][0]["words"]
    problem(web.post(f"{address}/answers", json={"who": "Ada", "answers": {"moon": True}}), 422)
    assert len(clearings.answers(shop.engine, tree.id)) == 2, "what was said before still stands beside it"


def test_what_was_dipped_over_damp_and_air_that_was_not_known_are_remarked(
    shop: FakeShop, web: Browser
) -> None:
    tree = through(shop)
    verdict = shop.rack.verdicts[tree.id]
    second, fourth = verdict.coats[1], verdict.coats[3]
    gap = (fourth.dipped_at, fourth.dipped_at + 70 * MINUTE_MS)
    coats = (
        verdict.coats[0],
        replace(second, fit_at=NEVER),
        verdict.coats[2],
        replace(fourth, gaps=(gap,)),
        *verdict.coats[4:],
    )
    shop.rack.verdicts[tree.id] = replace(verdict, coats=coats)
    told = " ".join(one["words"] for one in web.get(f"/api/trees/{tree.id}/burnout-check").json()["reasons"])
    assert "Dipped over before it was fit: coat 2; most on coat 2, with 21 % left" in told
    assert "not known for 70 min in all, while coat 4 dried" in told


def test_refusals_say_why(shop: FakeShop, web: Browser) -> None:
    tree, scrapped = through(shop), shop.hang("Snipe", "A3", 4, "fit")
    tree_store.take_off(shop.engine, scrapped.id, "scrapped", NOON, "Ada", "dropped")
    why = {"who": "Ada", "why": "a crack"}
    never = problem(web.post(f"/api/trees/{tree.id}/reopen", json=why), 409)
    assert "not cleared" in never["detail"]
    gone = problem(web.post(f"/api/trees/{scrapped.id}/burnout-check/clear", json=why), 409)
    assert "scrapped" in gone["detail"]
    assert "scrapped" in problem(web.post(f"/api/trees/{scrapped.id}/reopen", json=why), 409)["detail"]
    for address in ("burnout-check/clear", "reopen"):
        problem(web.post(f"/api/trees/999/{address}", json=why), 404)
        problem(web.post(f"/api/trees/{tree.id}/{address}", json={"why": "x"}), 422)
    assert web.get(f"/api/trees/{scrapped.id}/burnout-check").json()["answer"] == "not-yet"
    cast = {"outcome": "sound", "who": "Ada"}
    assert "not cleared yet" in problem(web.post(f"/api/trees/{tree.id}/castings", json=cast), 409)["detail"]


def test_reopened_for_a_patch_it_is_asked_anew_and_its_hook_may_be_taken(
    shop: FakeShop, web: Browser
) -> None:
    tree = through(shop)
    address = f"/api/trees/{tree.id}"
    assert web.post(f"{address}/burnout-check/clear", json={"who": "Ada", "ticked": TICKS}).status_code == 201
    shop.hang("Plover", "B3")
    shop.clock.time = NOON + HOUR_MS
    patch = {"spot": "joint:30", "thickness_mm": 3, "size_mm": 40, "where": "hairline by the vent"}
    said = {"who": "Ada", "why": "a crack by the vent", "patch": patch}
    for wrong, told in (
        ({"spot": "joint:77"}, "none of Curlew's"),
        ({"thickness_mm": 40}, "outside 0.2 to 10 mm"),
        ({"at": "2026-03-02T15:00:00Z"}, "not after the last coat"),
    ):
        refused = problem(web.post(f"{address}/reopen", json=said | {"patch": patch | wrong}), 422)
        assert told in refused["detail"]
    back = web.post(f"{address}/reopen", json=said)
    assert back.status_code == 200, back.text
    check = back.json()
    assert check["hook"] == ""
    assert [(one["spot"], one["where"]) for one in check["patches"]] == [("joint:30", "hairline by the vent")]
    assert [one["yes"] for one in check["questions"]] == [None] * 6
    assert "assumed" in check["assumed"][0]
    assert check["clearings"][0]["reopened_by"] == "Ada"
    assert [event.kind for event in tree_store.events(shop.engine, tree.id)] == [
        "added",
        "cleared",
        "reopened",
        "amended",
        "patched",
    ]
    patch_id = check["patches"][0]["id"]
    assert web.ask("DELETE", f"{address}/patches/{patch_id}").json()["patches"] == []


def test_a_year_of_checks_is_a_table_and_no_cell_of_it_a_formula(shop: FakeShop, web: Browser) -> None:
    tree = through(shop)
    why = {"who": "Ada", "why": "=1+1"}
    web.post(f"/api/trees/{tree.id}/burnout-check/clear", json=why)
    web.post(f"/api/trees/{tree.id}/castings", json={"outcome": "fin", "who": "Ada", "where": "left wing"})
    answer = web.get("/api/burnout-checks.csv?year=2026")
    assert answer.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["label"], row["why"], row["came_of_it"], row["where"]) for row in rows] == [
        ("Curlew", "'=1+1", "fin", "left wing")
    ]
    assert len(web.get("/api/burnout-checks.csv?year=2025").text.splitlines()) == 1


def test_a_weighing_that_falls_is_seen_on_the_page(shop: FakeShop, web: Browser) -> None:
    tree = through(shop)
    for ago, kg in ((2.9, 3.2), (0.1, 3.1)):
        at = NOON - round(ago * HOUR_MS)
        measurements.add_measurement(shop.engine, NewMeasurement(tree.id, "weighing", at, at, value=kg))
    shop.clock.time = NOON + 30 * HOUR_MS
    late = NOON + 29 * HOUR_MS
    measurements.add_measurement(shop.engine, NewMeasurement(tree.id, "weighing", late, late, value=3.0))
    page = web.get(f"/trees/{tree.id}/burnout-check").text
    assert "Cannot say" in page
    assert "the scale fell by 100 g" in page


def test_the_page_asks_clears_tells_of_the_casting_and_reopens(shop: FakeShop, web: Browser) -> None:
    tree = through(shop)
    address = f"/trees/{tree.id}"
    page = web.get(f"{address}/burnout-check")
    assert page.status_code == 200
    for said in ("safe", "strong enough", "ready to pour"):
        assert said not in page.text.lower()
    ticked = web.post(
        f"{address}/burnout-check/answers", data={"who": "Ada", "asked": TICKS, "yes": TICKS[:5]}
    )
    assert ticked.status_code == 303
    refused = web.post(f"{address}/burnout-check/clear", data={"who": "Ada"})
    assert refused.status_code == 409
    assert "Patches, if there are any, are dry" in refused.text
    done = web.post(f"{address}/burnout-check/clear", data={"who": "<b>Ada</b>", "why": "none were made"})
    assert done.status_code == 303
    page = web.get(f"{address}/burnout-check")
    assert "Cleared by &lt;b&gt;Ada&lt;/b&gt;, 2 Mar 2026 14:00: none were made" in page.text
    cast = {"outcome": "run-out", "who": "Ada", "spot": "face", "where": "left wing"}
    assert web.post(f"{address}/castings", data=cast).status_code == 303
    assert "Ran out at the body · left wing" in web.get(f"{address}/burnout-check").text
    (kept,) = castings.castings(shop.engine, tree.id)
    assert web.post(f"{address}/castings/{kept.id}/undo").status_code == 303
    assert "Ran out at the body" not in web.get(f"{address}/burnout-check").text
    wrong = {"who": "Ada", "why": "a crack", "patched": "yes", "spot": "face", "thickness_mm": "thick"}
    assert "is not a number" in web.post(f"{address}/reopen", data=wrong).text
    assert web.post(f"{address}/reopen", data=wrong | {"thickness_mm": "2,5"}).status_code == 303
    reopened = web.get(f"{address}/burnout-check").text
    assert "Reopened by Ada" in reopened
    assert "2.5 mm thick" in reopened
