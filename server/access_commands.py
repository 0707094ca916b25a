"""The commands of who is let in: `slowcorner pair`, `token`, `certificate`."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from sensors.clock import wall_millis
from server.data_folder import DATABASE
from server.settings import Settings
from server.store_commands import DataOption
from server.terminal import fail, out

if TYPE_CHECKING:
    from server.access import Access


def pair_command(
    role: Annotated[Literal["acts", "looks"], typer.Option(help="What the device may do.")] = "acts",
    data: DataOption = None,
) -> None:
    """Make a code that pairs one device within ten minutes. It is shown once."""
    with _access(data) as access:
        code = access.new_code(role)
    _say(f"code  {code[:4]} {code[4:]}   (good once, for 10 minutes; type it at the page’s /pair)")


def token_command(
    name: Annotated[str, typer.Argument(help="What the program is called.")],
    scope: Annotated[list[str] | None, typer.Option(help="read, act or readings; may be repeated.")] = None,
    data: DataOption = None,
    revoke: Annotated[bool, typer.Option("--revoke", help="Take its tokens back instead.")] = False,
) -> None:
    """Make a program a token for the API, or take back those of that name. It is shown once."""
    with _access(data) as access:
        if revoke:
            count = access.revoke_tokens_of(name)
            if not count:
                fail(f"no token of the name {name!r} holds")
            _say(f"{name}: {count} taken back")
            return
        try:
            token = access.new_token(name, scope or ["read"])
        except ValueError as error:
            fail(str(error))
    _say(f"token  {token}")
    _say("It is shown this once: Authorization: Bearer …")


def certificate_command(
    name: Annotated[list[str] | None, typer.Option(help="A further name or address; repeatable.")] = None,
    data: DataOption = None,
    new_authority: Annotated[
        bool, typer.Option("--new-authority", help="A new authority: every phone is set up anew.")
    ] = False,
) -> None:
    """Make the shop's own authority and this machine's certificate, or renew it."""
    # Cryptography loads only where it serves.
    from server.certificate_making import machine_names, names_of  # noqa: PLC0415
    from server.certificates import FOLDER, CertificateError, ensure  # noqa: PLC0415

    settings = _settings(data)
    extra = names_of([*settings.extra_names, *(name or ())])
    try:
        made = ensure(settings.data / FOLDER, machine_names(), extra, datetime.now(UTC), new_authority)
    except CertificateError as error:
        fail(str(error))
    state = "Made" if made.new_leaf else "Still good"
    _say(f"{state}: {made.leaf}, for {made.names}, until {made.until:%Y-%m-%d}")
    if made.left_out.hosts or made.left_out.addresses:
        _say(f"Left out, for the authority may not speak for it: {made.left_out}")
    _say(f"The authority that phones are to trust: {made.authority}")
    _say(f"SHA-256  {made.fingerprint}")
    _say("Serve with it by `slowcorner serve --tls`.")


@contextmanager
def _access(data: DataOption) -> "Iterator[Access]":
    # The store and the hashes load only where they serve.
    from server.access import Access  # noqa: PLC0415
    from server.store.engine import StoreError, open_store  # noqa: PLC0415

    settings = _settings(data)
    if not settings.database and not (settings.data / DATABASE).exists():
        fail(f"there is no store in {settings.data} yet: start `slowcorner serve` with it first")
    try:
        engine = open_store(settings.database_url)
        try:
            yield Access(engine, wall_millis)
        finally:
            engine.dispose()
    except StoreError as error:
        fail(str(error))


def _settings(data: DataOption) -> Settings:
    return Settings() if data is None else Settings(data=data)


def _say(line: str) -> None:
    out.print(line, markup=False, highlight=False, soft_wrap=True)
