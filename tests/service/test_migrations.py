"""Migrations lead from nothing to the tables the code uses, whole or not at all."""

import os
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, inspect
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateIndex, CreateTable

from server.store import migrating
from server.store.engine import StoreError, open_store
from server.store.metadata import METADATA


def test_migrated_from_nothing_the_database_is_what_the_tables_say(engine: Engine) -> None:
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "compare_server_default": True}
        )
        assert compare_metadata(context, METADATA) == []


def test_names_and_storage_of_the_migrated_tables_are_those_of_the_code(
    tmp_path: Path, engine: Engine
) -> None:
    # compare_metadata does not see WITHOUT ROWID or an index's condition: compare the SQL itself.
    def written(engine: Engine) -> dict[str, str]:
        with engine.connect() as connection:
            rows = connection.exec_driver_sql(
                "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name <> 'alembic_version'"
            )
            return {name: " ".join(sorted(sql.replace(",", " ").split())) for name, sql in rows}

    direct = open_store(f"sqlite:///{tmp_path}/direct.db")
    try:
        with direct.begin() as connection:
            METADATA.drop_all(connection)
            METADATA.create_all(connection)
        assert written(direct) == written(engine)
        assert "WITHOUT ROWID" in " ".join(
            str(CreateTable(METADATA.tables["reading"]).compile(direct)).split()
        )
    finally:
        direct.dispose()


def test_opening_again_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "slowcorner.db"
    open_store(f"sqlite:///{path}").dispose()
    before = path.read_bytes()
    open_store(f"sqlite:///{path}").dispose()
    assert path.read_bytes() == before


def test_migrations_are_found_from_any_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    elsewhere = tmp_path / "100% elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    engine = open_store("sqlite:///here.db")
    try:
        assert "reading" in inspect(engine).get_table_names()
        assert "here.db" in os.listdir(elsewhere)
    finally:
        engine.dispose()


def test_a_database_from_a_newer_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "slowcorner.db"
    engine = open_store(f"sqlite:///{path}")
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()
    with pytest.raises(
        StoreError, match=r"slowcorner\.db: .*newer version \(its revision 9999.*nothing was changed"
    ):
        open_store(f"sqlite:///{path}")


def test_a_migration_that_fails_leaves_the_database_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    head = ScriptDirectory.from_config(migrating.migrations_config()).get_current_head()
    copy = tmp_path / "migrations"
    (copy / "versions").mkdir(parents=True)
    source = migrating.MIGRATIONS
    standing = [f"versions/{path.name}" for path in (source / "versions").glob("v*.py")]
    for name in ("env.py", "script.py.mako", *standing):
        (copy / name).write_text((source / name).read_text())
    (copy / "versions" / "v9000_breaks.py").write_text(
        "from alembic import op\n"
        "import sqlalchemy as sa\n"
        f"revision = '9000'\ndown_revision = {head!r}\n"
        "def upgrade():\n"
        "    op.create_table('half', sa.Column('id', sa.Integer(), primary_key=True))\n"
        "    op.execute('INSERT INTO nowhere VALUES (1)')\n"
    )
    path = tmp_path / "slowcorner.db"
    open_store(f"sqlite:///{path}").dispose()
    with monkeypatch.context() as patched:
        patched.setattr(migrating, "MIGRATIONS", copy)
        with pytest.raises(StoreError, match="nowhere"):
            open_store(f"sqlite:///{path}")
    engine = open_store(f"sqlite:///{path}")
    try:
        assert "half" not in inspect(engine).get_table_names()
    finally:
        engine.dispose()


def test_there_is_one_line_of_migrations() -> None:
    scripts = ScriptDirectory.from_config(migrating.migrations_config())
    assert len(scripts.get_heads()) == 1
    assert len(scripts.get_bases()) == 1


def test_a_migration_is_named_after_its_revision() -> None:
    # By their names the newest is known without Alembic.
    found = list(ScriptDirectory.from_config(migrating.migrations_config()).walk_revisions())
    names = [Path(script.path).name for script in found]
    assert names == sorted(names, reverse=True)
    assert [name[:6] for name in names] == [f"v{script.revision}_" for script in found]


def test_the_tables_can_be_written_for_postgresql() -> None:
    dialect = postgresql.dialect()  # type: ignore[no-untyped-call]
    written = {
        table.name: str(CreateTable(table).compile(dialect=dialect)) for table in METADATA.sorted_tables
    }
    # A count of milliseconds does not fit 32 bits: every one of them must be a BIGINT there.
    for table in METADATA.sorted_tables:
        for column in table.columns:
            if column.name.endswith("_ms"):
                assert f"{column.name} BIGINT" in written[table.name]
    hook = next(index for index in METADATA.tables["tree"].indexes if index.name == "uq_tree_hook_on_rack")
    assert "WHERE left_how = ''" in str(CreateIndex(hook).compile(dialect=dialect))
