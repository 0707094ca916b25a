"""How the store is opened, how durable a commit is, and what it says when it cannot be."""

import sqlite3
import threading
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError

from server.store import places
from server.store.engine import FullDisk, StoreError, open_store, reading, writing
from server.store.tables import PlaceRow
from server.store.values import Place

RACK = Place("rack-room", "Rack room", 0.6)


def url(path: Path) -> str:
    return f"sqlite:///{path}"


def pragma(engine: Engine, name: str) -> object:
    with engine.connect() as connection:
        return connection.exec_driver_sql(f"PRAGMA {name}").scalar()


def test_every_connection_is_durable_and_checks_references(engine: Engine) -> None:
    # Held open together, so that the pool must make a new one each time.
    connections = [engine.connect() for _ in range(4)]
    try:
        assert len({id(one.connection.dbapi_connection) for one in connections}) == 4
        for connection in connections:
            found = {
                name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
                for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
            }
            # synchronous 2 is FULL: sqlite.org/pragma.html#pragma_synchronous (from memory)
            assert found == {
                "journal_mode": "wal",
                "synchronous": 2,
                "foreign_keys": 1,
                "busy_timeout": 10_000,
            }
    finally:
        for connection in connections:
            connection.close()


def test_what_is_committed_is_there_for_another_program(engine: Engine) -> None:
    places.add_place(engine, RACK)
    other = sqlite3.connect(str(engine.url.database))
    try:
        assert other.execute("SELECT id, speed_m_s FROM place").fetchall() == [("rack-room", 0.6)]
    finally:
        other.close()


def test_a_transaction_that_raises_leaves_nothing(engine: Engine) -> None:
    def stops_half_way() -> None:
        with writing(engine) as session:
            session.add(PlaceRow(id="a", name="A", speed_m_s=0.5))
            session.flush()
            raise RuntimeError("half way")

    with pytest.raises(RuntimeError, match="half way"):
        stops_half_way()
    assert places.places(engine) == []


def test_a_reader_sees_one_moment_while_another_writes(engine: Engine) -> None:
    with reading(engine) as session:
        assert session.get(PlaceRow, RACK.id) is None
        places.add_place(engine, RACK)  # a second connection: a reader does not hold a writer up
        session.expire_all()
        assert session.get(PlaceRow, RACK.id) is None
    assert places.place(engine, RACK.id) == RACK


def test_two_writers_queue_and_lose_nothing(engine: Engine) -> None:
    def write(start: int) -> None:
        try:
            for number in range(start, start + 50):
                places.add_place(engine, Place(f"p{number:03}", "Place", 0.5))
        except BaseException as error:
            failures.append(error)

    failures: list[BaseException] = []
    threads = [threading.Thread(target=write, args=(start,)) for start in (0, 50)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert failures == []
    assert [place.id for place in places.places(engine)] == [f"p{number:03}" for number in range(100)]


def test_the_folder_is_made(tmp_path: Path) -> None:
    engine = open_store(url(tmp_path / "data" / "shop" / "slowcorner.db"))
    engine.dispose()
    assert (tmp_path / "data" / "shop" / "slowcorner.db").is_file()


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a file where the folder should be")
    with pytest.raises(StoreError, match=r"data/slowcorner\.db: cannot make its folder"):
        open_store(url(tmp_path / "data" / "slowcorner.db"))


def test_a_path_that_is_a_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "slowcorner.db").mkdir()
    with pytest.raises(StoreError, match=r"slowcorner\.db: it cannot be opened"):
        open_store(url(tmp_path / "slowcorner.db"))


def test_a_read_only_database_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "slowcorner.db"
    open_store(url(path)).dispose()
    with pytest.raises(StoreError, match="may not be written to"):
        open_store(f"sqlite:///file:{path}?mode=ro&uri=true")


def test_a_file_of_another_kind_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("Dipped Heron at nine. " * 100)
    with pytest.raises(StoreError, match="no database of SQLite's"):
        open_store(url(path))
    assert path.read_text() == "Dipped Heron at nine. " * 100


@pytest.mark.parametrize("text", ["slowcorner.db", "carrier-pigeon:///x", "sqlite://", "sqlite:///:memory:"])
def test_a_url_that_keeps_nothing_is_refused(text: str) -> None:
    with pytest.raises(StoreError, match="sqlite:///data/slowcorner"):
        open_store(text)


@pytest.mark.parametrize("kind", ["postgresql+nodriver", "mysql+pymysql"])
def test_a_password_is_not_told_and_a_missing_driver_is(kind: str) -> None:
    with pytest.raises(StoreError, match=r"shop:\*\*\*@localhost") as told:
        open_store(f"{kind}://shop:hunter2@localhost/slowcorner")
    assert "hunter2" not in str(told.value)


def fill_the_disk(engine: Engine) -> None:
    """As if the disk had no room for one page more: SQLite's own limit raises SQLITE_FULL as that does."""
    pages = pragma(engine, "page_count")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")


def test_a_full_disk_says_so_keeps_nothing_of_it_and_goes_on_when_there_is_room(engine: Engine) -> None:
    places.add_place(engine, RACK)
    fill_the_disk(engine)
    with (
        pytest.raises(FullDisk, match="no room left on the disk; nothing of this was kept"),
        writing(engine) as all_of,
    ):
        all_of.add_all(PlaceRow(id=f"p{n}", name="x" * 1000, speed_m_s=0.5) for n in range(100))
    assert places.places(engine) == [RACK]
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1000000")
    places.add_place(engine, Place("porch", "x" * 10_000, 0.5))
    assert [place.id for place in places.places(engine)] == ["porch", "rack-room"]


def test_a_writer_that_waits_too_long_is_told_why(engine: Engine) -> None:
    other = sqlite3.connect(str(engine.url.database), isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA busy_timeout = 20")  # this connection goes back to the pool
        with pytest.raises(StoreError, match="another program wrote for"):
            places.add_place(engine, RACK)
    finally:
        other.close()
    places.add_place(engine, RACK)


def test_a_broken_reference_is_no_silent_row(engine: Engine) -> None:
    with pytest.raises(StoreError, match="FOREIGN KEY") as told, writing(engine) as session:
        session.connection().exec_driver_sql("INSERT INTO dip_undo (dip_id, at_ms) VALUES (7, 0)")
    assert isinstance(told.value.__cause__, IntegrityError)
