"""How commands speak to a terminal: answers on one stream, faults and waiting on the other."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn

import typer
from rich.console import Console

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

    >>> duration(4000.0), duration(9000.0)
    ('67 min', '2.5 h')
    """
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 120 else f"{seconds / 3600:.1f} h"
