"""A whole joint's strip against two solutions in two dimensions: a table of one, and finite elements here.

Times are hours until 10 % and 5 % are left, with the constants of `joint_reference`; a row's error is the
larger of its two.
"""

from collections.abc import Iterator
from functools import lru_cache

from server.drying.joint import STATIONS
from server.drying.materials import equilibrium_saturation
from tests.drying.checks.row import Row
from tests.drying.corner_solution import CornerSolution, Fineness
from tests.drying.joint_reference import (
    COAT_M,
    FILLET_M,
    FULL_KG_M3,
    JOINT_HOURS,
    LAYERS_MM,
    RH_PCT,
    SLURRIES,
    joint_hours,
)

Hours = tuple[float, ...]
Case = tuple[str, float, float]

WITHIN = 0.10
CASES: list[Case] = [(kind, angle, layer) for kind, angle in JOINT_HOURS for layer in LAYERS_MM]

DOUBTED: Case = ("B", 30.0, 4.0)
"""The entry of the table that the solution here contradicts: it agrees with all others within 3 %, and is 8 %
over this one. The table does not say whether heat reaches the joint through the folded layer, as vapour
leaves it and as the model has it, or by h on all of the surface; only with the latter does the strip come
within 10 % of this entry, and so it must.
"""
DOUBTED_WITHIN = 0.12

INERT = 1000.0
"""Re-wetting factor of older coats that hardly drink [-]."""

ON_OLDER = [("B", 30.0, 1), ("B", 30.0, 3), ("B", 60.0, 3), ("N", 60.0, 1), ("N", 90.0, 3)]
ON_INERT = [("B", 30.0), ("B", 60.0), ("N", 30.0), ("N", 60.0)]
OVER_OLDER = {
    "N": Fineness(fillet=20, flat=20, air=24),
    "B": Fineness(fillet=16, flat=16, newest=14, older=6, air=20),
}
"""Set B spreads its water so fast that a coarser mesh moves its times by 1 %, at a tenth of the cost."""


def tabled(kind: str, angle: float, layer_mm: float) -> Hours:
    """The table's hours."""
    return JOINT_HOURS[kind, angle][LAYERS_MM.index(layer_mm)]


@lru_cache(maxsize=256)
def strip_hours(
    kind: str,
    angle: float,
    layer_mm: float,
    stations: int = STATIONS,
    folded_heat: bool = True,
    older_coats: int = 0,
    rewetting: float = 1.0,
) -> Hours:
    """The model's."""
    return joint_hours(
        SLURRIES[kind], angle, layer_mm, folded_heat, older_coats, stations=stations, rewetting=rewetting
    )


@lru_cache(maxsize=256)
def solved_hours(
    kind: str, angle: float, layer_mm: float, older_coats: int = 0, rewetting: float = 1.0
) -> Hours:
    """By finite elements, judged as the strip is."""
    coats = (COAT_M,) * (older_coats + 1)
    solution = CornerSolution(
        angle, FILLET_M, coats, layer_mm * 1e-3, fineness=OVER_OLDER[kind] if older_coats else None
    )
    slurry, dry = SLURRIES[kind], equilibrium_saturation(RH_PCT)
    fresh = slurry.water / (FULL_KG_M3 * COAT_M)
    judged = solution.under_fillet(newest_only=False) if older_coats else solution.beyond_flat()
    newest = solution.under_fillet(newest_only=True) if older_coats else judged
    start = solution.start((*(dry,) * older_coats, fresh))
    brought = float(newest.sum()) * (fresh - dry)
    return solution.hours_to(slurry, start, judged, brought, (0.10, 0.05), rewetting)


def errors(got: Hours, wanted: Hours) -> tuple[float, ...]:
    """Of each time over what it should be [-]."""
    return tuple(a / b - 1.0 for a, b in zip(got, wanted, strict=True))


def said(got: Hours, wanted: Hours) -> str:
    """The same in per cent."""
    return " / ".join(f"{100.0 * error:+.1f} %" for error in errors(got, wanted))


def _row(line: str, case: str, got: Hours, wanted: Hours, source: str, within: float = WITHIN) -> Row:
    return Row(
        line,
        case,
        f"{got[0]:.2f} / {got[1]:.2f} h ({said(got, wanted)})",
        f"{wanted[0]:.2f} / {wanted[1]:.2f} h",
        f"{within:.0%}",
        source,
        max(map(abs, errors(got, wanted))) <= within,
    )


def table_row(kind: str, angle: float, layer_mm: float) -> Row:
    """One entry of the table."""
    case = (kind, angle, layer_mm)
    doubted = case == DOUBTED
    return _row(
        "joint, table",
        f"set {kind}, {angle:g}°, {layer_mm} mm",
        strip_hours(*case),
        tabled(*case),
        "computed table, 2-D" + ("; the elements here are 8 % over this entry" if doubted else ""),
        DOUBTED_WITHIN if doubted else WITHIN,
    )


def plain_heat_row(kind: str, angle: float, layer_mm: float) -> Row:
    """The same where heat comes by h on all of the surface."""
    case = (kind, angle, layer_mm)
    got = strip_hours(*case, folded_heat=False)
    where = f"set {kind}, {angle:g}°, {layer_mm} mm, heat by h on all of the surface"
    return _row("joint, table, heat by h", where, got, tabled(*case), "computed table, 2-D")


def solved_row(kind: str, angle: float, layer_mm: float) -> Row:
    """One case against the finite elements here."""
    case = (kind, angle, layer_mm)
    where = f"set {kind}, {angle:g}°, {layer_mm} mm, elements"
    return _row("joint, elements", where, strip_hours(*case), solved_hours(*case), "computed here, 2-D")


def older_row(kind: str, angle: float, older: int) -> Row:
    """A coat on older ones of the same slurry that drink as readily as they dry."""
    got = strip_hours(kind, angle, 2.5, older_coats=older)
    wanted = solved_hours(kind, angle, 2.5, older)
    return _row(
        "joint on older coats", f"set {kind}, {angle:g}°, {older} older", got, wanted, "computed here, 2-D"
    )


def inert_row(kind: str, angle: float) -> Row:
    """The fourth coat of 1 mm, on three that hardly drink."""
    got = strip_hours(kind, angle, 2.5, older_coats=3, rewetting=INERT)
    wanted = solved_hours(kind, angle, 2.5, 3, INERT)
    return _row(
        "joint on inert coats",
        f"set {kind}, {angle:g}°, 3 older that hardly drink",
        got,
        wanted,
        "computed here, 2-D",
    )


def rows() -> Iterator[Row]:
    """All of them."""
    for case in CASES:
        yield table_row(*case)
        yield plain_heat_row(*case)
        yield solved_row(*case)
    for kind, angle, older in ON_OLDER:
        yield older_row(kind, angle, older)
    for kind, angle in ON_INERT:
        yield inert_row(kind, angle)


def stations_table(counts: tuple[int, ...] = (6, 8, 12)) -> Iterator[str]:
    """Errors of 10 % / 5 % times by number of stations: against the table, then the elements here."""
    yield f"{'':24}" + "".join(f"{f'{count} stations':>34}" for count in counts)
    for kind, angle, layer_mm in CASES:
        wanted, solved = tabled(kind, angle, layer_mm), solved_hours(kind, angle, layer_mm)
        cells = ""
        for count in counts:
            got = strip_hours(kind, angle, layer_mm, count)
            cells += f"{said(got, wanted):>17}{said(got, solved):>17}"
        yield f"{f'set {kind}, {angle:g}°, {layer_mm} mm':24}{cells}"
    for kind, angle in ON_INERT:
        solved = solved_hours(kind, angle, 2.5, 3, INERT)
        cells = ""
        for count in counts:
            got = strip_hours(kind, angle, 2.5, count, older_coats=3, rewetting=INERT)
            cells += f"{'':17}{said(got, solved):>17}"
        yield f"{f'set {kind}, {angle:g}°, on 3 inert':24}{cells}"
