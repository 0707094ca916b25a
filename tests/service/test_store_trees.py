"""Places, recipes, trees and dips: what may be kept, how it is numbered, and that nothing said is lost."""

import threading
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine, text

from sensors.clock import MINUTE_MS
from server.store import dips, places, recipes, trees
from server.store.engine import RefusedError, UnknownError, open_store
from server.store.values import Dip, NewDip, NewTree, Place, RecipeCoat, Tree, TreeSpot

T0 = 1_772_431_200_000
SPOTS = (TreeSpot("face", "face"), TreeSpot("joint:30", "vent joint"))


def hang(engine: Engine, label: str = "Heron", hook: str = "A1") -> Tree:
    if places.place(engine, "rack-room") is None:
        places.add_place(engine, Place("rack-room", "Rack room", 0.6))
    recipe = recipes.ensure_default(engine)
    return trees.add_tree(engine, NewTree(label, hook, "rack-room", recipe.id, 25.0, SPOTS, 0.08, 1.4), T0)


def dip(engine: Engine, tree: Tree, at: int, key: str | None = None) -> Dip:
    return dips.add_dip(engine, NewDip(tree.id, at, at + 1, pot="P1", prewet=True, note="thin", key=key))


def count(engine: Engine, table: str) -> int:
    with engine.connect() as connection:
        return int(connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one())


# Places


def test_places_by_id_and_their_speed(engine: Engine) -> None:
    rack_room, porch = Place("rack-room", "Rack room", 0.6), Place("porch", "Porch", 0.2)
    places.add_place(engine, rack_room)
    places.add_place(engine, porch)
    assert places.places(engine) == [porch, rack_room]
    assert places.set_speed(engine, "porch", 1.5) == Place("porch", "Porch", 1.5)
    assert places.place(engine, "porch") == Place("porch", "Porch", 1.5)
    assert places.place(engine, "cellar") is None


def test_a_place_is_added_once_and_must_be_there_to_be_changed(engine: Engine) -> None:
    places.add_place(engine, Place("porch", "Porch", 0.2))
    with pytest.raises(RefusedError, match="place 'porch' is there already: Porch"):
        places.add_place(engine, Place("porch", "Another", 0.9))
    with pytest.raises(UnknownError, match="no place 'cellar'"):
        places.set_speed(engine, "cellar", 1.0)
    assert places.places(engine) == [Place("porch", "Porch", 0.2)]


# Recipes


def test_the_default_recipe_is_made_once(engine: Engine) -> None:
    first = recipes.ensure_default(engine)
    assert recipes.ensure_default(engine) == first
    assert recipes.recipes(engine) == [first] == [recipes.recipe(engine, first.id)]
    # Figures assumed: see recipes.KINDS.
    assert [coat.kind for coat in first.coats] == ["prime"] * 2 + ["backup"] * 7 + ["seal"]
    assert [coat.number for coat in first.coats] == list(range(1, 11))
    assert first.coats[0] == RecipeCoat(1, "prime", 0.6, 0.20)
    assert first.coats[2] == RecipeCoat(3, "backup", 1.0, 0.32)
    assert first.coats[9] == RecipeCoat(10, "seal", 0.3, 0.15)


@pytest.mark.parametrize(
    ("coats", "fault"),
    [
        ([], "no coats"),
        ([RecipeCoat(2, "prime", 0.6, 0.2)], "coat 1 in order is numbered 2"),
        ([RecipeCoat(1, "paint", 0.6, 0.2)], "coat 1: 'paint' is not one of prime, backup, seal"),
    ],
)
def test_a_recipe_that_is_none_is_refused_whole(engine: Engine, coats: list[RecipeCoat], fault: str) -> None:
    with pytest.raises(RefusedError, match=fault):
        recipes.add_recipe(engine, "Odd", coats)
    assert recipes.recipes(engine) == []


def test_a_recipes_name_is_its_own(engine: Engine) -> None:
    coats = [RecipeCoat(1, "prime", 0.6, 0.2), RecipeCoat(2, "seal", 0.3, 0.1)]
    added = recipes.add_recipe(engine, "Two coats", coats)
    assert recipes.recipe(engine, added.id) == added
    assert added.coats == tuple(coats)
    with pytest.raises(RefusedError, match="'Two coats' is there already"):
        recipes.add_recipe(engine, "Two coats", coats)
    assert recipes.recipe(engine, 99) is None


# Trees


def test_a_tree_comes_back_as_it_was_hung(engine: Engine) -> None:
    tree = hang(engine)
    assert trees.tree(engine, tree.id) == tree
    assert trees.rack(engine) == [tree]
    assert (tree.label, tree.hook, tree.place, tree.size_mm) == ("Heron", "A1", "rack-room", 25.0)
    assert (tree.area_m2, tree.wax_kg, tree.spots, tree.created_at) == (0.08, 1.4, SPOTS, T0)
    assert (tree.left, tree.resting_hours) == ("", 24.0)
    assert trees.tree(engine, 99) is None


def test_a_hook_holds_one_tree(engine: Engine) -> None:
    heron, snipe = hang(engine), hang(engine, "Snipe", "A2")
    with pytest.raises(RefusedError, match="hook A1 is taken: Heron hangs there"):
        hang(engine, "Teal", "A1")
    with pytest.raises(RefusedError, match="hook A2 is taken: Snipe hangs there"):
        trees.amend_tree(engine, heron.id, now=T0, hook="A2")
    assert trees.amend_tree(engine, heron.id, now=T0, hook="A1").hook == "A1"
    trees.take_off(engine, snipe.id, "scrapped", T0, "Ada", "cracked at the cup")
    assert trees.amend_tree(engine, heron.id, now=T0, hook="A2").hook == "A2"
    assert [tree.label for tree in trees.rack(engine)] == ["Heron"]


def test_trees_without_a_hook_are_in_nobodys_way(engine: Engine) -> None:
    assert [hang(engine, label, "").label for label in ("Dunlin", "Avocet")] == ["Dunlin", "Avocet"]


def test_two_threads_cannot_hang_two_trees_on_one_hook(engine: Engine) -> None:
    hang(engine, "Bittern", "B1")
    heard: list[str] = []

    def try_to(label: str) -> None:
        try:
            heard.append(hang(engine, label, "A1").label)
        except RefusedError as error:
            heard.append(str(error))

    threads = [threading.Thread(target=try_to, args=(label,)) for label in ("Heron", "Snipe")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sorted(heard, key=len)[0] in ("Heron", "Snipe")
    assert "hook A1 is taken" in sorted(heard, key=len)[1]
    assert len(trees.rack(engine)) == 2


def test_a_tree_needs_a_place_and_a_recipe_that_are_there(engine: Engine) -> None:
    tree = hang(engine)
    nowhere = NewTree("Teal", "A2", "cellar", tree.recipe.id, 25.0, SPOTS)
    no_coats = NewTree("Teal", "A2", "rack-room", 99, 25.0, SPOTS)
    with pytest.raises(UnknownError, match="no place 'cellar'"):
        trees.add_tree(engine, nowhere, T0)
    with pytest.raises(UnknownError, match="no recipe 99"):
        trees.add_tree(engine, no_coats, T0)
    with pytest.raises(UnknownError, match="no place 'cellar'"):
        trees.amend_tree(engine, tree.id, now=T0, label="Teal", place="cellar")
    assert trees.rack(engine) == [tree]


def test_an_amendment_changes_what_it_says_and_is_kept_beside_what_was_said_first(engine: Engine) -> None:
    tree = hang(engine)
    spots = (TreeSpot("joint:60", "gate"), TreeSpot("face", "face"))
    amended = trees.amend_tree(engine, tree.id, now=T0 + 1, label="Grey heron", spots=spots)
    assert (amended.label, amended.spots) == ("Grey heron", spots)
    assert (amended.hook, amended.size_mm, amended.created_at) == (tree.hook, tree.size_mm, tree.created_at)
    assert trees.amend_tree(engine, tree.id, now=T0 + 2) == amended  # nothing said, nothing kept
    trees.take_off(engine, tree.id, "cleared", T0 + 3, "Ada", "dry through", said_at=T0 + 4)
    said = trees.events(engine, tree.id)
    assert [(one.kind, one.at, one.said_at) for one in said] == [
        ("added", T0, T0),
        ("amended", T0 + 1, T0 + 1),
        ("cleared", T0 + 3, T0 + 4),
    ]
    assert said[0].payload["label"] == "Heron"
    assert said[0].payload["spots"][1] == {"code": "joint:30", "name": "vent joint"}
    assert said[1].payload == {
        "label": "Grey heron",
        "spots": [{"code": "joint:60", "name": "gate"}, {"code": "face", "name": "face"}],
    }
    assert said[2].payload == {"who": "Ada", "why": "dry through"}


def test_a_tree_off_the_rack_stays_as_it_is(engine: Engine) -> None:
    tree = hang(engine)
    gone = trees.take_off(engine, tree.id, "cleared", T0, "Ada", "dry through")
    assert gone.left == "cleared"
    with pytest.raises(RefusedError, match="Heron is off the rack: it was cleared"):
        trees.amend_tree(engine, tree.id, now=T0, label="Teal")
    with pytest.raises(RefusedError, match="Heron is off the rack"):
        trees.take_off(engine, tree.id, "scrapped", T0, "Ada", "again")
    with pytest.raises(RefusedError, match="Heron is off the rack"):
        dip(engine, tree, T0)
    with pytest.raises(UnknownError, match="no tree 99"):
        trees.take_off(engine, 99, "scrapped", T0, "Ada", "")
    assert trees.tree(engine, tree.id) == gone


# Dips


def test_a_dip_comes_back_as_it_was_said(engine: Engine) -> None:
    tree = hang(engine)
    said = dip(engine, tree, T0)
    assert dips.dips(engine, tree.id) == [said] == dips.all_dips(engine, tree.id)
    assert (said.coat, said.at, said.said_at, said.undone_at) == (1, T0, T0 + 1, None)
    assert (said.pot, said.prewet, said.partial, said.note) == ("P1", True, False, "thin")


def test_the_same_key_is_the_same_dip(engine: Engine) -> None:
    heron, snipe = hang(engine), hang(engine, "Snipe", "A2")
    first = dip(engine, heron, T0, key="press-1")
    assert dip(engine, heron, T0 + MINUTE_MS, key="press-1") == first
    other = dip(engine, snipe, T0, key="press-1")
    assert other.tree_id == snipe.id
    dip(engine, heron, T0 + MINUTE_MS)
    dip(engine, heron, T0 + 2 * MINUTE_MS)
    assert [one.coat for one in dips.dips(engine, heron.id)] == [1, 2, 3]


def test_a_press_sent_again_after_the_tree_left_is_still_the_same_dip(engine: Engine) -> None:
    tree = hang(engine)
    first = dip(engine, tree, T0, key="press-1")
    trees.take_off(engine, tree.id, "scrapped", T0, "Ada", "dropped")
    assert dip(engine, tree, T0, key="press-1") == first


def test_two_threads_with_one_key_make_one_dip(engine: Engine) -> None:
    tree = hang(engine)
    made: list[Dip] = []
    threads = [
        threading.Thread(target=lambda: made.append(dip(engine, tree, T0, key="press-1"))) for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert len(made) == 4
    assert set(made) == set(dips.all_dips(engine, tree.id))
    assert count(engine, "dip") == 1


def test_an_undo_is_kept_as_a_row_of_its_own(engine: Engine) -> None:
    tree = hang(engine)
    first, second = dip(engine, tree, T0), dip(engine, tree, T0 + MINUTE_MS)
    undone = dips.undo_dip(engine, tree.id, second.id, T0 + 2 * MINUTE_MS)
    assert (undone.id, undone.coat, undone.undone_at) == (second.id, 2, T0 + 2 * MINUTE_MS)
    assert dips.undo_dip(engine, tree.id, second.id, T0 + 3 * MINUTE_MS) == undone
    assert dips.dips(engine, tree.id) == [first]
    assert dips.all_dips(engine, tree.id) == [first, undone]
    assert (count(engine, "dip"), count(engine, "dip_undo")) == (2, 1)
    again = dip(engine, tree, T0 + 4 * MINUTE_MS)
    assert again.coat == 2


def test_only_the_latest_dip_can_be_undone(engine: Engine) -> None:
    heron, snipe = hang(engine), hang(engine, "Snipe", "A2")
    first, second = dip(engine, heron, T0), dip(engine, heron, T0 + MINUTE_MS)
    with pytest.raises(RefusedError, match="coat 1 cannot be undone: coat 2 is on it"):
        dips.undo_dip(engine, heron.id, first.id, T0)
    with pytest.raises(UnknownError, match=f"tree {snipe.id} has no dip {second.id}"):
        dips.undo_dip(engine, snipe.id, second.id, T0)
    dips.undo_dip(engine, heron.id, second.id, T0)
    assert dips.undo_dip(engine, heron.id, first.id, T0).undone_at == T0
    assert dips.dips(engine, heron.id) == []


def test_a_tree_takes_as_many_coats_as_its_recipe_has(engine: Engine) -> None:
    tree = hang(engine)
    said = [dip(engine, tree, T0 + n * MINUTE_MS) for n in range(10)]
    assert [one.coat for one in said] == list(range(1, 11))
    with pytest.raises(RefusedError, match="Heron has all its 10 coats"):
        dip(engine, tree, T0 + 11 * MINUTE_MS)
    dips.undo_dip(engine, tree.id, said[-1].id, T0 + 12 * MINUTE_MS)
    assert dip(engine, tree, T0 + 13 * MINUTE_MS).coat == 10


def test_a_tree_goes_on_by_another_recipe_that_has_the_coats_that_are_on(engine: Engine) -> None:
    tree = hang(engine)
    coats = tree.recipe.coats
    longer = recipes.add_recipe(engine, "Eleven", [*coats, replace(coats[-1], number=11)])
    shorter = recipes.add_recipe(engine, "Two", coats[:2])
    thinner = recipes.add_recipe(engine, "Thin", [coats[0], replace(coats[1], thickness_mm=0.4), *coats[2:]])
    dip(engine, tree, T0)
    assert trees.amend_tree(engine, tree.id, now=T0, recipe=thinner.id).recipe == thinner
    assert trees.events(engine, tree.id)[-1].payload == {"recipe_id": thinner.id}
    taken_back = dip(engine, tree, T0 + MINUTE_MS)
    with pytest.raises(
        RefusedError, match="cannot go on by recipe 'Eleven': its coat 2 is on, and is another"
    ):
        trees.amend_tree(engine, tree.id, now=T0, label="Egret", recipe=longer.id)
    kept = trees.tree(engine, tree.id)
    assert kept is not None
    assert (kept.label, kept.recipe) == ("Heron", thinner)
    dips.undo_dip(engine, tree.id, taken_back.id, T0)
    assert trees.amend_tree(engine, tree.id, now=T0, recipe=longer.id).recipe == longer
    for minute in (2, 3):
        dip(engine, tree, T0 + minute * MINUTE_MS)
    with pytest.raises(RefusedError, match="Heron has 3 coats on, and recipe 'Two' only 2"):
        trees.amend_tree(engine, tree.id, now=T0, recipe=shorter.id)
    with pytest.raises(UnknownError, match="there is no recipe 999"):
        trees.amend_tree(engine, tree.id, now=T0, recipe=999)


@settings(max_examples=25, deadline=None)
@given(doings=st.lists(st.one_of(st.integers(0, 20), st.just("undo")), max_size=10))
def test_coats_are_numbered_in_the_order_they_went_on_whatever_is_said_when(
    tmp_path_factory: pytest.TempPathFactory, doings: list[int | str]
) -> None:
    engine = open_store(f"sqlite:///{tmp_path_factory.mktemp('store')}/slowcorner.db")
    try:
        tree = hang(engine)
        on: list[tuple[int, int]] = []
        undone: set[int] = set()
        for doing in doings:
            if isinstance(doing, int):
                made = dip(engine, tree, T0 + doing)
                on = sorted([*on, (made.at, made.id)])
                assert made.coat == on.index((made.at, made.id)) + 1
            elif on:
                _, latest = on.pop()
                undone.add(latest)
                assert dips.undo_dip(engine, tree.id, latest, T0).id == latest
        live = dips.dips(engine, tree.id)
        assert [(one.at, one.id) for one in live] == on
        assert [one.coat for one in live] == list(range(1, len(on) + 1))
        everything = dips.all_dips(engine, tree.id)
        assert {one.id for one in everything if one.undone_at is not None} == undone
        assert len(everything) == sum(1 for doing in doings if doing != "undo")
    finally:
        engine.dispose()
