"""The command `slowcorner check`: the check before burnout of a shop's trees, or of the demo's."""

import json
import sys
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from sensors.clock import HOUR_MS
from server.terminal import JsonOption, fail, out, waiting

DataOption = Annotated[
    Path | None, typer.Option(help="Folder of a store; it is read from a copy [default: the demo's trees].")
]


def check_command(
    data: DataOption = None,
    after: Annotated[
        float, typer.Option(help="Of the demo: so many hours after its first morning.", min=0, max=240)
    ] = 48.0,
    as_json: JsonOption = False,
) -> None:
    """The check before burnout of every tree on the rack: dry through, not yet or cannot say, and why."""
    # The store and the judge load only where they serve.
    from server.checking import checks_of_copy, checks_of_demo, lines_of  # noqa: PLC0415
    from server.store.engine import StoreError  # noqa: PLC0415

    with tempfile.TemporaryDirectory(prefix="slowcorner-check-") as folder:
        try:
            with waiting("Judging the trees"):
                if data is None:
                    found = checks_of_demo(Path(folder), round(after * HOUR_MS))
                else:
                    found = checks_of_copy(data, Path(folder))
        except StoreError as error:
            fail(str(error))
    if as_json:
        from server.burnout_check import SHEET  # noqa: PLC0415 - as above

        sys.stdout.write(json.dumps([SHEET.dump_python(one, mode="json") for one in found]) + "\n")
        return
    for check in found:
        for line in lines_of(check):
            out.print(line, markup=False, highlight=False, soft_wrap=True)
    if not found:
        out.print("There is no tree on the rack.")
