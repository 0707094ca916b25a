"""How commands speak to a terminal: answers on one stream, faults and waiting on the other."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Literal, NoReturn

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

KindOption = Annotated[Literal["prime", "backup", "seal"], typer.Option(help="Kind of the coat.")]
LayerOption = Annotated[int, typer.Option(help="Its number; 1 is on the wax.", min=1, max=30)]
AirTempOption = Annotated[float, typer.Option(help="Air temperature [°C].")]
HumidityOption = Annotated[float, typer.Option(help="Relative humidity [%].")]
AirSpeedOption = Annotated[float, typer.Option(help="Air speed at the tree [m/s].")]
SizeOption = Annotated[float, typer.Option(help="Length of the face along the air [mm].")]
FilletOption = Annotated[float, typer.Option(help="Radius of the slurry's fillet in a joint [mm].")]
SpotsOption = Annotated[
    list[str] | None,
    typer.Option("--spot", help="face, joint:30, pocket:12x40 or cavity:60x0.2; may be given again."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
"""What a coat in given air is asked about with: the same words for every command that asks."""

DEFAULT_SPOTS = ("face", "joint:30")

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
