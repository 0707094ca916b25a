"""The command that prints the checks of a store, without a service and without touching the store."""

import json
from pathlib import Path

from typer.testing import CliRunner

from sensors.clock import HOUR_MS
from server.believing import set_believed
from server.cli import app
from server.store import dips, places, readings, recipes, trees
from server.store.engine import open_store
from server.store.values import NewDip, NewTree, Place, RecipeCoat, TreeSpot
from tests.service.records import PLACE, START, steady


def test_the_checks_of_a_store_are_printed_from_a_copy(tmp_path: Path) -> None:
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    set_believed(engine, members=1)
    places.add_place(engine, Place(PLACE, "Drying room", 0.6))
    recipe = recipes.add_recipe(engine, "One coat", [RecipeCoat(1, "seal", 0.4, 0.14)])
    spots = (TreeSpot("face", "body"),)
    for label, hook, on in (("Heron", "A1", True), ("Dunlin", "A2", False)):
        tree = trees.add_tree(engine, NewTree(label, hook, PLACE, recipe.id, 25.0, spots), START)
        if on:
            dips.add_dip(engine, NewDip(tree.id, START, START))
    readings.keep(engine, steady(START, 5), [], [], START + 5 * HOUR_MS)
    engine.dispose()
    before = (tmp_path / "slowcorner.db").read_bytes()
    told = CliRunner().invoke(app, ["check", "--data", str(tmp_path)])
    assert told.exit_code == 0, told.output
    assert "Heron: Not yet (1 of 1)" in told.output
    assert "It has rested" in told.output
    assert "Dunlin: Not yet (0 of 1)" in told.output
    found = json.loads(CliRunner().invoke(app, ["check", "--data", str(tmp_path), "--json"]).output)
    assert [one["finding"]["answer"] for one in found] == ["not-yet", "not-yet"]
    assert (tmp_path / "slowcorner.db").read_bytes() == before


def test_a_folder_without_a_store_is_named(tmp_path: Path) -> None:
    told = CliRunner().invoke(app, ["check", "--data", str(tmp_path / "gone")])
    assert told.exit_code == 1
    assert "there is no store at" in told.stderr
