"""Moving, renaming, another recipe, scrapping and hanging again, on the pages of a tree."""

from html import unescape

import pytest

from sensors.clock import HOUR_MS
from server.store import dips as dip_store
from server.store import left as left_store
from server.store import recipes as recipe_store
from server.store import trees as tree_store
from server.store.engine import RefusedError
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished
from tests.service.test_pages import Reader, read


def asked(web: Browser, path: str) -> None:
    """The page at that path has a form that leads to the same path."""
    assert path in [action for action, _ in read(web, path).forms]


def test_a_tree_is_moved_and_dries_in_the_air_of_the_new_place_from_then_on(
    shop: FakeShop, web: Browser
) -> None:
    bittern = furnished(shop)["Bittern"]
    asked(web, f"/trees/{bittern.id}/change")
    said = {"label": "Bittern", "hook": "C1", "place": "cellar", "recipe": str(bittern.recipe.id)}
    answer = web.post(f"/trees/{bittern.id}/change", data=said)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/trees/{bittern.id}")
    moved = tree_store.tree(shop.engine, bittern.id)
    assert moved is not None
    assert (moved.hook, moved.place) == ("C1", "cellar")
    event = tree_store.events(shop.engine, bittern.id)[-1]
    assert (event.kind, event.at, event.payload) == ("amended", NOON, {"hook": "C1", "place": "cellar"})
    assert shop.rack.refreshed == [bittern.id]


def test_a_tree_goes_on_by_another_recipe_where_what_is_on_is_in_it(shop: FakeShop, web: Browser) -> None:
    bittern = furnished(shop)["Bittern"]
    seven = recipe_store.add_recipe(shop.engine, "Seven coats", bittern.recipe.coats[:7])
    two = recipe_store.add_recipe(shop.engine, "Two coats", bittern.recipe.coats[:2])
    said = {"label": "Bittern", "hook": "A2", "place": "drying-room", "recipe": str(seven.id)}
    assert web.post(f"/trees/{bittern.id}/change", data=said).status_code == 303
    assert "of 7" in web.get(f"/trees/{bittern.id}").text
    refused = web.post(f"/trees/{bittern.id}/change", data=said | {"recipe": str(two.id)})
    assert refused.status_code == 409
    assert "Bittern has 3 coats on, and recipe" in unescape(refused.text)
    kept = tree_store.tree(shop.engine, bittern.id)
    assert kept is not None
    assert kept.recipe == seven


def test_a_hook_that_is_taken_says_by_whom_and_keeps_what_was_typed(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    said = {"label": "Bitterne", "hook": "A1", "place": "cellar", "recipe": str(shop.recipe.id)}
    answer = web.post(f"/trees/{trees['Bittern'].id}/change", data=said)
    assert answer.status_code == 409
    assert "Hook A1 is taken: Heron hangs there. Nothing was changed." in Reader(answer.text).text
    assert 'value="Bitterne"' in answer.text
    assert '<option value="cellar" selected>' in answer.text
    kept = tree_store.tree(shop.engine, trees["Bittern"].id)
    assert kept is not None
    assert (kept.label, kept.hook, kept.place) == ("Bittern", "A2", "drying-room")
    lost = web.post(f"/trees/{trees['Bittern'].id}/change", data=said | {"hook": "C1", "place": "attic"})
    assert "There is no place 'attic'" in unescape(lost.text)


def test_scrapping_asks_why_and_can_be_taken_back(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    bittern = trees["Bittern"]
    path = f"/trees/{bittern.id}/scrap"
    asked(web, path)
    empty = web.post(path, data={"why": "  "})
    assert empty.status_code == 422
    assert "Say in a word why: nothing was changed." in Reader(empty.text).text
    assert web.post(path, data={"why": "cracked at the gate", "who": "Ada"}).status_code == 303
    page = read(web, f"/trees/{bittern.id}")
    assert "Scrapped 14:00: cracked at the gate (Ada)." in page.text
    assert "Dipped: coat" not in page.text
    assert "Coat 3, backup" in page.text  # its coats stay
    listed = read(web, "/trees/left")
    assert "Bittern Scrapped 14:00 3 coats · Drying room cracked at the gate (Ada)" in listed.text
    assert f"/trees/{bittern.id}" in listed.links
    assert web.get(f"/trees/{bittern.id}/change").status_code == 409

    taken = web.post(f"/trees/{bittern.id}/hang", data={"hook": "A1"})
    assert taken.status_code == 409
    assert "Hook A1 is taken: Heron hangs there" in taken.text
    assert web.post(f"/trees/{bittern.id}/hang", data={"hook": "A2"}).status_code == 303
    back = tree_store.tree(shop.engine, bittern.id)
    assert back is not None
    assert (back.left, back.hook) == ("", "A2")
    assert "None has left yet" in read(web, "/trees/left").text
    with pytest.raises(RefusedError, match="Bittern cannot be hung again: it hangs on the rack"):
        left_store.hang_again(shop.engine, bittern.id, "A2", NOON)


def test_trees_that_left_come_last_first_with_their_coats_that_stand(shop: FakeShop) -> None:
    heron, teal = shop.hang("Heron", "A1", 3), shop.hang("Teal", "A2", 2)
    [*_, last] = dip_store.dips(shop.engine, heron.id)
    dip_store.undo_dip(shop.engine, heron.id, last.id, NOON)
    tree_store.take_off(shop.engine, teal.id, "cleared", NOON - HOUR_MS, "Ada", "dry")
    tree_store.take_off(shop.engine, heron.id, "scrapped", NOON, "", "cracked")
    told = [(one.label, one.how, one.coats, one.why) for one in left_store.left(shop.engine)]
    assert told == [("Heron", "scrapped", 2, "cracked"), ("Teal", "cleared", 2, "dry")]
