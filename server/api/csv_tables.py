"""Tables as CSV (RFC 4180)."""

import csv
import io
from collections.abc import Iterable, Sequence

from fastapi import Response

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_of(rows: Iterable[Sequence[str]], name: str) -> Response:
    """Rows as a file to be kept under a name. What a spreadsheet would run as a formula is quoted as text."""
    out = io.StringIO()
    csv.writer(out).writerows([[plain(cell) for cell in row] for row in rows])
    told = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=told)


def plain(cell: str) -> str:
    """A cell that no spreadsheet runs.

    >>> plain("=1+1"), plain("Heron")
    ("'=1+1", 'Heron')
    """
    return f"'{cell}" if cell.startswith(_FORMULA) else cell
