"""What is read of the store once and kept is read again as soon as it was written to."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from server.store import places, readings, shop, trees
from server.store.engine import StoreError, UnknownError, open_store
from server.store.revisions import kept, revision_of
from server.store.values import Place
from tests.service.fake_shop import NOON, FakeShop, furnished


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    yield engine
    engine.dispose()


def test_what_was_not_written_to_is_read_once(engine: Engine) -> None:
    asked = []

    def read() -> int:
        asked.append(1)
        return len(asked)

    assert [kept(engine, "x", ("place",), read) for _ in range(3)] == [1, 1, 1]
    readings.keep(engine, (), (), (), NOON)
    shop.set_setting(engine, "shop_name", "Other")
    assert kept(engine, "x", ("place",), read) == 1, "another table is no reason"
    places.add_place(engine, Place("cellar", "Cellar", 0.3))
    assert kept(engine, "x", ("place",), read) == 2


def test_a_writer_reads_what_it_wrote_and_so_does_another_engine_on_the_same_file(engine: Engine) -> None:
    other = open_store(str(engine.url))
    assert places.places(engine) == places.places(other) == []
    new = places.add_place(engine, Place("cellar", "Cellar", 0.3))
    assert places.places(engine) == places.places(other) == [new]
    faster = places.set_speed(other, "cellar", 1.1)
    assert places.places(engine) == places.places(other) == [faster]
    for value in ({"a": 1}, {"a": 2}, None):
        shop.set_setting(engine, "told_causes", value)
        assert shop.setting(other, "told_causes") == shop.setting(engine, "told_causes") == value
    other.dispose()


def test_what_is_kept_is_nobodys_to_change(engine: Engine) -> None:
    shop.set_setting(engine, "quiet_hours", ["21:00", "07:00"])
    told = shop.setting(engine, "quiet_hours")
    assert isinstance(told, list)
    told.append("x")
    places.add_place(engine, Place("cellar", "Cellar", 0.3))
    places.places(engine).clear()
    assert shop.setting(engine, "quiet_hours") == ["21:00", "07:00"]
    assert len(places.places(engine)) == 1


def test_a_write_that_was_taken_back_is_not_seen(engine: Engine) -> None:
    places.add_place(engine, Place("cellar", "Cellar", 0.3))
    with pytest.raises(StoreError):
        places.add_place(engine, Place("cellar", "Again", 0.3))
    with pytest.raises(UnknownError):
        places.set_speed(engine, "loft", 1.0)
    assert [place.name for place in places.places(engine)] == ["Cellar"]


def test_a_write_in_sql_of_our_own_counts_for_its_table_alone(engine: Engine) -> None:
    before = revision_of(engine, "place"), revision_of(engine, "reading")
    with engine.begin() as connection:
        connection.exec_driver_sql("INSERT OR IGNORE INTO place VALUES ('loft', 'Loft', 0.5)")
    assert revision_of(engine, "place") != before[0]
    assert revision_of(engine, "reading") == before[1]
    assert [place.id for place in places.places(engine)] == ["loft"]


def test_the_rack_is_shown_as_it_is_after_each_thing_that_is_said(engine: Engine) -> None:
    shop_now = FakeShop(engine)
    furnished(shop_now)
    tree = trees.rack(engine)[0]
    trees.amend_tree(engine, tree.id, now=NOON, label="Nightjar")
    assert trees.rack(engine)[0].label == "Nightjar"
    trees.take_off(engine, tree.id, "scrapped", NOON, "Ann", "cracked")
    assert tree.id not in [one.id for one in trees.rack(engine)]
