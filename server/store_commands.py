"""The commands that work on a store: `slowcorner listen`, `node-password`, `backup`, `restore`."""

from pathlib import Path
from typing import Annotated

import typer

from sensors.clock import wall_millis
from server.settings import Settings
from server.terminal import fail, out

DataOption = Annotated[Path | None, typer.Option(help="Folder of the store [default: data].")]


def listen_command(
    data: DataOption = None,
    before: Annotated[int, typer.Option(help="Show so many things first that were kept out.", min=0)] = 5,
    seconds: Annotated[
        float | None, typer.Option(help="Stop after so many seconds [default: until Ctrl-C].", min=0)
    ] = None,
) -> None:
    """Show live what arrives at the running service, and why something was kept out."""
    from server.listening import listen  # noqa: PLC0415 - the store loads only where it serves

    listen(_settings(data), before, seconds)


def node_password_command(
    place: Annotated[str, typer.Argument(help="Place the node hangs at.")],
    node: Annotated[str, typer.Argument(help="The node's name.")],
    data: DataOption = None,
    revoke: Annotated[bool, typer.Option("--revoke", help="Take the node's password back instead.")] = False,
) -> None:
    """Make a node a password of its own for the built-in listener, or a new one. It is shown once."""
    # The store and the hashes load only where they serve.
    from server.mqtt_accounts import AccountError, new_password, take_back  # noqa: PLC0415

    settings = _settings(data)
    try:
        if revoke:
            take_back(settings, place, node, wall_millis())
            _say(f"{place}/{node} is not let in any more; a connection that stands is not cut.")
            return
        user_name, password = new_password(settings, place, node, wall_millis())
    except AccountError as error:
        fail(str(error))
    _say(f"user      {user_name}")
    _say(f"password  {password}")
    _say(
        "It is shown this once: put both into the node's settings. It may publish under its own topics alone."
    )
    _say("After the first password, start the service again: from then on every client needs one.")


def backup_command(
    file: Annotated[Path, typer.Argument(help="File to write, such as shop-2026-03-02.tar.gz.")],
    data: DataOption = None,
) -> None:
    """Copy everything into one file, also while the service runs. Keep it off this machine."""
    from server.backing_up import BackupError, back_up  # noqa: PLC0415 - the store loads only where it serves

    settings = _settings(data)
    try:
        made = back_up(settings.data, settings.database_url, file, wall_millis())
    except BackupError as error:
        fail(str(error))
    _say(f"Backed up to {file}: {made}. It holds the shop's keys: keep it where only you can read it.")


def restore_command(
    file: Annotated[Path, typer.Argument(help="File that `slowcorner backup` wrote.")],
    data: DataOption = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Move a store that is there aside, and put this in its place.")
    ] = False,
) -> None:
    """Bring everything of a backup back into a data folder. The service must not be running on it."""
    from server.backing_up import BackupError, restore  # noqa: PLC0415 - the store loads only where it serves

    settings = _settings(data)
    if settings.database:
        fail("restore writes to a data folder; a database of its own is restored with its own program")
    try:
        found = restore(file, settings.data, replace)
    except BackupError as error:
        fail(str(error))
    _say(f"Restored to {settings.data}, as it was at {found.made_at}: {found}.")


def _settings(data: Path | None) -> Settings:
    return Settings() if data is None else Settings(data=data)


def _say(line: str) -> None:
    out.print(line, markup=False, highlight=False, soft_wrap=True)
