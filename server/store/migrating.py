"""Brings a database's tables up to date, by Alembic, in one transaction, wherever the program is started."""

from pathlib import Path
from typing import TYPE_CHECKING

# Alembic is loaded where it serves: it takes 11 MB, and a start that finds nothing to do needs none of it.
from sqlalchemy import Connection, inspect

if TYPE_CHECKING:
    from alembic.config import Config

MIGRATIONS = Path(__file__).resolve().parent.parent / "migrations"


class NewerDatabaseError(Exception):
    """The database was written by a version of the program that this one does not know."""


def migrations_config() -> "Config":
    """Alembic's settings, made here so that no file has to be found."""
    from alembic.config import Config  # noqa: PLC0415 - see above

    config = Config()
    # Alembic reads % as the start of a variable.
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    return config


def bring_up_to_date(connection: Connection) -> None:
    """Run the migrations that are missing, in the caller's transaction.

    Raises NewerDatabaseError, before changing anything, when the database's revision is not one of ours.
    """
    if _is_up_to_date(connection):
        return
    from alembic import command  # noqa: PLC0415 - see above
    from alembic.runtime.migration import MigrationContext  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    config = migrations_config()
    scripts = ScriptDirectory.from_config(config)
    known = {script.revision for script in scripts.walk_revisions()}
    there = set(MigrationContext.configure(connection).get_current_heads())
    if not there <= known:
        raise NewerDatabaseError(
            f"it was last written by a newer version (its revision {', '.join(sorted(there - known))}, "
            f"the latest known here {scripts.get_current_head()}); nothing was changed. "
            "Install that version, or restore a backup made with this one"
        )
    if there != set(scripts.get_heads()):
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _is_up_to_date(connection: Connection) -> bool:
    """Whether the database is at the newest of our migrations, whose file names begin with their revision."""
    newest = max(path.name for path in (MIGRATIONS / "versions").glob("v*.py"))[1:5]
    if not inspect(connection).has_table("alembic_version"):
        return False
    return list(connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalars()) == [newest]
