"""The form for a new tree: what is offered, what is kept, and what is said of what cannot be."""

from dataclasses import asdict
from typing import Any

import pytest

from server.store import hung
from server.store import places as place_store
from server.store import shop as shop_store
from server.store import trees as tree_store
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished
from tests.service.test_pages import Reader, read

FIELDS: dict[str, Any] = {
    "label": "Heron", "hook": "A1", "place": "cellar", "recipe": "1", "size": "30",
    "spot_name": ["vent joint", "", "", ""], "spot_code": ["joint:30", "face", "", ""],
}  # fmt: skip


def refused(web: Browser, **change: Any) -> Reader:
    answer = web.post("/trees", data=FIELDS | change)
    assert answer.status_code == 422, answer.text
    return Reader(answer.text)


def test_a_tree_is_hung_by_form(shop: FakeShop, web: Browser) -> None:
    answer = web.post("/trees", data=FIELDS)
    assert answer.status_code == 303
    [tree] = tree_store.rack(shop.engine)
    assert [(spot.code, spot.name) for spot in tree.spots] == [("joint:30", "vent joint"), ("face", "face")]
    assert (tree.label, tree.hook, tree.place, tree.size_mm) == ("Heron", "A1", "cellar", 30.0)
    assert answer.headers["location"] == f"/trees/{tree.id}"
    assert shop.rack.refreshed == [tree.id]
    again = web.post("/trees", data=FIELDS | {"label": "Bittern"})
    assert again.status_code == 422
    assert "Not hung: hook A1 is taken: Heron hangs there." in Reader(again.text).text
    assert 'value="Bittern"' in again.text  # what was typed stays


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        (["joint:181"], "joint angle 181° in 'joint:181' is outside 15° to 150°"),
        (["joint:0"], "joint angle 0°"),
        (["pocket:12x"], "is not one of"),
        (["pocket:NaNx5"], "is not a finite number"),
        (["cavity:60x0.2,packed"], "cannot be judged"),
        (["", ""], "at least one spot"),
        (["face", "edge"], "face is there twice"),
        ([f"joint:{20 + angle}" for angle in range(25)], "25 spots are too many: a tree may have up to 24"),
    ],
)
def test_a_spot_that_cannot_be_is_refused_on_the_form(
    shop: FakeShop, web: Browser, codes: list[str], words: str
) -> None:
    said = refused(web, spot_name=[""] * len(codes), spot_code=codes)
    assert words in said.text
    assert tree_store.rack(shop.engine) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"label": "x" * 500}, "the tree’s name is 500 signs long: it may have up to 60"),
        ({"label": "   "}, "the tree’s name is empty"),
        ({"label": "Her\u202eon"}, "must be one line of plain text"),
        ({"label": "two\nlines"}, "must be one line of plain text"),
        ({"hook": ""}, "the hook is empty"),
        ({"hook": "9" * 61}, "the hook is 61 signs long"),
        ({"place": "attic"}, "there is no place 'attic'"),
        ({"recipe": "99"}, "there is no recipe 99"),
        ({"recipe": "one"}, "there is no recipe 'one'"),
        ({"recipe": "9" * 300}, "there is no recipe"),
        ({"size": "big"}, "the length of its faces 'big' is not a number"),
        ({"size": "0,5"}, "the length of its faces, 0,5 mm, is outside 1 mm to 2000 mm"),
        ({"size": "nan"}, "is outside 1 mm to 2000 mm"),
        ({"spot_name": ["x" * 61, "", "", ""]}, "the name of a spot is 61 signs long"),
    ],
)
def test_what_cannot_be_is_said_on_the_form_and_nothing_typed_is_lost(
    shop: FakeShop, web: Browser, change: dict[str, Any], words: str
) -> None:
    answer = web.post("/trees", data=FIELDS | change)
    assert answer.status_code == 422
    assert words in Reader(answer.text).text
    assert 'value="joint:30"' in answer.text
    assert tree_store.rack(shop.engine) == []


@pytest.mark.parametrize(
    "name",
    ["אנפה", "🪶 Heron 👩\u200d🏭", "<script>alert(1)</script>", "\"><b>'&amp;", "İıß"],
)
def test_any_script_is_a_name_and_is_shown_as_it_was_written(shop: FakeShop, web: Browser, name: str) -> None:
    answer = web.post("/trees", data=FIELDS | {"label": name, "hook": name, "spot_name": [name, "", "", ""]})
    assert answer.status_code == 303
    [tree] = tree_store.rack(shop.engine)
    assert (tree.label, tree.hook, tree.spots[0].name) == (name, name, name)
    shop.judge(tree, "new")
    for path in ("/", f"/trees/{tree.id}", f"/trees/new?like={tree.id}", "/tags", f"/t/{tree.id}"):
        page = web.get(path)
        assert page.status_code == 200
        assert "<script>alert" not in page.text
        assert "<b>'" not in page.text
        assert name in Reader(page.text).text


def test_the_form_begins_as_the_last_tree_was_hung(shop: FakeShop, web: Browser) -> None:
    first = web.get("/trees/new").text
    assert 'name="size" value="25"' in first
    assert 'value="cellar" checked' in first  # the first place there is
    web.post("/trees", data=FIELDS | {"place": "drying-room", "size": "80"})
    later = web.get("/trees/new").text
    assert 'name="size" value="80"' in later
    assert 'value="drying-room" checked' in later
    assert 'name="label" value=""' in later  # a name is nobody's to suggest


def test_a_free_hook_is_one_tap(shop: FakeShop, web: Browser) -> None:
    assert read(web, "/trees/new").text.count("A1") == 1
    trees = furnished(shop)
    tree_store.take_off(shop.engine, trees["Bittern"].id, "scrapped", NOON, "Ann", "cracked")
    html = web.get("/trees/new").text
    offered = [hook for hook in ("A1", "A2", "A5", "B4") if f'data-fills="hook" data-value="{hook}"' in html]
    assert offered == ["A2", "A5", "B4"]
    assert 'name="hook" value="C7"' in web.get("/trees/new?hook=C7").text


def test_another_like_one_that_hangs_or_was_cast(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    curlew = trees["Curlew"]
    tree_store.take_off(shop.engine, curlew.id, "cleared", NOON, "Ann", "dry")
    tree_store.amend_tree(shop.engine, trees["Snipe"].id, now=NOON, size_mm=80.0)
    offered = read(web, "/trees/new")
    assert {f"/trees/new?like={tree.id}" for tree in trees.values()} <= set(offered.links)
    assert "Curlew cleared for burnout" in offered.text
    page = web.get(f"/trees/new?like={trees['Snipe'].id}")
    text = page.text
    assert "are those of Snipe" in Reader(text).text
    for value in ("pocket:14x18", "beak pocket", "joint:90", "gate joint", "face", "back", "80"):
        assert f'value="{value}"' in text
    assert 'name="label" value=""' in text
    assert web.get(f"/trees/{trees['Snipe'].id}/another").text == text
    assert web.get("/trees/new?like=999").status_code == 404
    copied = {
        "label": "Snipe II", "hook": "C1", "place": "drying-room", "recipe": "1", "size": "80",
        "like": "Snipe", "spot_name": ["beak pocket", "back", "gate joint"],
        "spot_code": ["pocket:14x18", "face", "joint:90"],
    }  # fmt: skip
    assert web.post("/trees", data=copied).status_code == 303
    copy = hung.last(shop.engine)
    assert copy
    assert [asdict(spot) for spot in copy.spots] == [asdict(spot) for spot in trees["Snipe"].spots]


def test_a_shop_in_inches_types_inches(shop: FakeShop, web: Browser) -> None:
    shop_store.set_setting(shop.engine, "length_unit", "in")
    html = web.get("/trees/new").text
    assert 'name="size" value="0.9843"' in html
    assert 'data-mm="25.4" data-unit="in"' in html
    assert web.post("/trees", data=FIELDS | {"size": "2"}).status_code == 303
    [tree] = tree_store.rack(shop.engine)
    assert tree.size_mm == pytest.approx(50.8)
    assert "is outside 0.039 in to 79 in" in refused(web, size="100").text


@pytest.fixture
def bare(shop: FakeShop) -> FakeShop:
    """A shop where no place has been named yet."""
    with shop.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM place")
    return shop


def test_the_first_tree_names_the_room_it_dries_in(bare: FakeShop, web: Browser) -> None:
    form = web.get("/trees/new").text
    assert 'name="place_name" value="Drying room"' in form
    assert 'name="place"' not in form
    without = {name: value for name, value in FIELDS.items() if name != "place"}
    assert "the place’s name is 500 signs long" in refused(web, place_name="x" * 500).text
    assert web.post("/trees", data=without | {"place_name": "Küche"}).status_code == 303
    [tree] = tree_store.rack(bare.engine)
    [place] = place_store.places(bare.engine)
    assert (tree.place, place.id, place.name) == ("kuche", "kuche", "Küche")


def test_the_first_room_is_the_one_that_nodes_speak_of(bare: FakeShop, web: Browser) -> None:
    bare.blow("back-room")
    assert web.post("/trees", data=FIELDS | {"place_name": "Back room"}).status_code == 303
    [place] = place_store.places(bare.engine)
    assert (place.id, place.name) == ("back-room", "Back room")
    # From then on a place is one of those that there are.
    assert "there is no place 'attic'" in refused(web, place="attic", hook="A2").text
