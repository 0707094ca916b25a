"""The lines of the table, each with what makes its rows."""

from collections.abc import Callable, Iterator

from tests.drying.checks import joints, known, laws, tight
from tests.drying.checks.row import Row

LINES: dict[str, Callable[[], Iterator[Row]]] = {
    "moist air": known.moist_air,
    "moist air as a real gas": known.real_air,
    "constant-rate period": known.rates,
    "slab with a film, sealed behind": known.slabs,
    "joint factor F and fillet geometry": known.corners,
    "a whole joint strip": joints.rows,
    "pocket": known.still_columns,
    "open pan": known.open_pans,
    "the published shell trial": known.trial,
    "limits": laws.limits,
    "mass": laws.mass,
    "steps in time": tight.step_rows,
    "mesh": tight.cell_rows,
}
