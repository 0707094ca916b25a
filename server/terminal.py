"""How commands speak to a terminal: answers on one stream, faults and waiting on the other."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, NoReturn

import typer
from rich.console import Console

from server.drying.drawing import MOST_MEMBERS

MembersOption = Annotated[
    int | None,
    typer.Option(
        help="For how many of the shops that could be it is reckoned; 1 says no spread [default: 32].",
        min=1,
        max=MOST_MEMBERS,
        envvar="SLOWCORNER_MEMBERS",
    ),
]
"""How a command is told the number of members."""

out = Console()
err = Console(stderr=True)


def fail(message: str) -> NoReturn:
    """Say what went wrong and end with code 1."""
    err.print(f"slowcorner: {message}", markup=False, highlight=False, soft_wrap=True)
    raise typer.Exit(1)


@contextmanager
def waiting(what: str) -> Iterator[None]:
    """Show that something is being worked out, where a person looks on."""
    if err.is_terminal:
        with err.status(what):
            yield
    else:
        yield


def duration(seconds: float) -> str:
    """A length of time for a table.

    >>> duration(4000.0), duration(9000.0), duration(-9000.0)
    ('67 min', '2.5 h', '-2.5 h')
    """
    minutes = round(seconds / 60)
    return f"{minutes} min" if abs(minutes) < 120 else f"{seconds / 3600:.1f} h"
