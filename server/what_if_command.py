"""The command `slowcorner what-if`: what would save time on one coat in given air."""

import json
import sys
from typing import Any

from rich.table import Table

from sensors.air import Air
from server.drying.drawing import default_count, drawn
from server.drying.whatif import Spread, WhatIf, fresh_shells, what_if
from server.terminal import (
    DEFAULT_SPOTS,
    AirSpeedOption,
    AirTempOption,
    FilletOption,
    HumidityOption,
    JsonOption,
    KindOption,
    LayerOption,
    MembersOption,
    SizeOption,
    SpotsOption,
    duration,
    fail,
    out,
    waiting,
)


def what_if_command(
    kind: KindOption = "backup",
    layer: LayerOption = 1,
    air_temp: AirTempOption = 21.0,
    rh: HumidityOption = 50.0,
    air_speed: AirSpeedOption = 0.6,
    size: SizeOption = 25.0,
    fillet: FilletOption = 2.0,
    spot: SpotsOption = None,
    members: MembersOption = None,
    as_json: JsonOption = False,
) -> None:
    """What a fan, drier or warmer air, or a more open joint would save on one coat in given air."""
    try:
        with waiting("Working it out"):
            air = Air(air_temp, rh, air_speed)
            ensemble = drawn(members or default_count())
            spots = tuple(spot or DEFAULT_SPOTS)
            shells = fresh_shells(kind, layer, air, size, fillet, spots, ensemble.members)
            found = what_if(shells, air, ensemble=ensemble)
    except ValueError as error:
        fail(str(error))
    if as_json:
        sys.stdout.write(json.dumps(_json(found)) + "\n")
        return
    out.print(_table(found))
    for note in found.notes:
        out.print(note)


def _json(found: WhatIf) -> dict[str, Any]:
    return {
        "fit_after_s": _seconds(found.as_it_is),
        "changes": [
            {
                "change": change.code,
                "words": change.words,
                "refused": change.refused or None,
                "fit_after_s": _seconds(change.fit_after),
                "saved_s": _seconds(change.saved),
            }
            for change in found.changes
        ],
        "notes": list(found.notes),
    }


def _seconds(spread: Spread) -> dict[str, float | None]:
    return {
        name: None if value is None else round(value, 1)
        for name, value in (("p10", spread.p10), ("p50", spread.p50), ("p90", spread.p90))
    }


def _table(found: WhatIf) -> Table:
    table = Table(title=f"As it is: fit {_after(found.as_it_is)}")
    for heading in ("what if", "fit after", "saves", "10 to 90 %"):
        table.add_column(heading, justify="left" if heading == "what if" else "right")
    for change in found.changes:
        if change.refused:
            table.add_row(change.words, "-", "-", change.refused)
            continue
        saved = change.saved
        middle = "all: else it never is" if saved.p50 is None else duration(saved.p50)
        low, high = ("?" if value is None else duration(value) for value in (saved.p10, saved.p90))
        after = "not within 14 days" if change.fit_after.p50 is None else duration(change.fit_after.p50)
        table.add_row(change.words, after, middle, "-" if low == high else f"{low} to {high}")
    return table


def _after(spread: Spread) -> str:
    return "not within 14 days" if spread.p50 is None else f"after {duration(spread.p50)}"
