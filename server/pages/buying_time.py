"""The part of the pour day's page that says what would buy time on one late tree, when it was asked for."""

from dataclasses import dataclass

from server.coat_times import materials
from server.drying.coming_coats import reckoned_spots, size_step_mm
from server.drying.time_bought import time_bought
from server.drying.whatif import HEATER_NOTE
from server.pages.contexts import WhatIfRow
from server.pages.what_if import what_if_row
from server.pages.wording import coat_words
from server.parts import Parts
from server.planning import TreeAhead
from server.shop_rules import shop_rules


@dataclass(frozen=True)
class TimePart:
    """What would buy time: on the coat that dries, on each backup coat to come; `nothing`: why neither."""

    now: str
    now_rows: tuple[WhatIfRow, ...]
    coming: str
    coming_rows: tuple[WhatIfRow, ...]
    nothing: str
    notes: tuple[str, ...]


def time_part(parts: Parts, one: TreeAhead) -> TimePart:
    """The part for one tree. Takes seconds the first time it is asked."""
    coats, outlook = materials(one.tree), one.outlook
    drying = outlook.state in ("drying", "resting")
    found = parts.rack.what_if(one.tree.id) if drying else None
    now_rows = () if found is None else tuple(what_if_row(change) for change in found.changes)
    expected, count = parts.rack.coming(one.tree.place), 0
    coming_rows: tuple[WhatIfRow, ...] = ()
    if expected is not None:
        count, changes = time_bought(
            coats,
            one.on,
            reckoned_spots([spot.code for spot in one.tree.spots]),
            size_step_mm(one.tree.size_mm),
            expected[0].step,
            expected[1],
            shop_rules(parts.engine).limits,
        )
        coming_rows = tuple(what_if_row(change) for change in changes)
    nothing = ""
    if not now_rows and not coming_rows:
        nothing = "Nothing: no coat is drying whose air could be changed, and no backup coat is to come."
    return TimePart(
        now=f"On {coat_words(one.on, len(coats), coats[one.on - 1].kind)}, which is drying:"
        if now_rows
        else "",
        now_rows=now_rows,
        coming=_coming_words(count),
        coming_rows=coming_rows,
        nothing=nothing,
        notes=found.notes if found else (HEATER_NOTE,) if coming_rows else (),
    )


def _coming_words(count: int) -> str:
    """How many coats the rows stand for.

    >>> _coming_words(1), _coming_words(0)
    ('On the backup coat to come:', '')
    """
    if count < 2:
        return "On the backup coat to come:" if count else ""
    return f"On each of the {count} backup coats to come:"
