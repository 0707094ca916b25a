"""Steps and cells against a solution that has fine ones: CVODE at 1e-8, and 32 cells a coat.

Steps: the solver and CVODE are given the same cells and the same air, held. Cells: a shell as it is used,
with its cells, its steps and its film reckoned now and then, against fine cells under CVODE with the film
reckoned at every instant. Both are seconds until no more remains than the next coat allows.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying import face
from server.drying.around import around_spot
from server.drying.build import Build, build
from server.drying.materials import EQUILIBRIUM_RH_PCT, equilibrium_saturation, fit_limit
from server.drying.medium import Surroundings, Wetness
from server.drying.shell import SpotShell
from tests.drying.checks.row import Row, near
from tests.drying.cvode_reference import CvodeReference
from tests.drying.shells import SHOP, dipped, member

Floats = NDArray[np.float64]

FINE_CELLS = 32
STEPS_S = 5.0
CELLS_SHARE = 0.01
SOURCE = "computed: CVODE (scikit-sundae), 1e-8"

_HELD_AT_S = 1800.0
_LAST_LOOK_S = 2.0


@dataclass(frozen=True)
class Case:
    """A coat at a spot, over so many older ones, in air that stays; `figures` are a member's own."""

    code: str
    kind: str = "backup"
    older: int = 0
    air: Air = SHOP
    figures: tuple[tuple[str, float], ...] = ()

    def shell(self) -> SpotShell:
        """The coat just on."""
        return dipped(self.code, self.kind, self.older, self.air, member(**dict(self.figures)))


SLOW = (("diffusivity", 0.01), ("exponent", 5.0))

FACES = {
    "first backup coat": Case("face"),
    "first prime coat": Case("face", "prime"),
    "on three coats": Case("face", older=3),
    "on three that hardly drink": Case("face", older=3, figures=(("rewetting", 1000.0),)),
    "slow capillaries": Case("face", figures=SLOW),
    "slow, on three that hardly drink": Case("face", older=3, figures=(*SLOW, ("rewetting", 100.0))),
    "cool, damp, still": Case("face", air=Air(15.0, 70.0, 0.05)),
    "hot, dry, windy": Case("face", air=Air(30.0, 15.0, 3.0), figures=(("diffusivity", 0.1),)),
    "pocket": Case("pocket:12x20"),
}
CELL_CASES = tuple(name for name in FACES if name != "on three that hardly drink")
"""With 32 cells in each of these inert coats CVODE takes a minute; it once gave +0.22 % there."""

JOINTS = {
    "30° joint": Case("joint:30"),
    "30° joint, slow capillaries": Case("joint:30", figures=SLOW),
    "60° joint on three coats": Case("joint:60", older=3),
    "45° joint on nine that hardly drink": Case("joint:45", older=9, figures=(("rewetting", 1000.0),)),
}


@lru_cache(maxsize=64)
def step_row(name: str) -> Row:
    """The solver's steps against CVODE's on the same cells, in the same air."""
    case = (FACES | JOINTS)[name]
    shell = case.shell()
    made = shell.built
    assert made is not None
    later = shell.advance(case.air, _HELD_AT_S).wetness
    assert later is not None
    held = around_spot(made, shell.members, shell.size_m, later, case.air).air
    start, left, limit = _begun(shell, case), _left(shell, made, case), fit_limit(case.kind)
    tight = CvodeReference(made.solver.medium, lambda _: held).seconds_until(start, left, limit)
    usual = _solver_seconds(made, start, held, left, limit, tight)
    return near("time", name, usual, tight, SOURCE, off=STEPS_S, unit=" s", digits=6)


@lru_cache(maxsize=64)
def cell_row(name: str) -> Row:
    """A shell as it is used against fine cells under CVODE."""
    case = FACES[name]
    shell = case.shell()
    with patch.object(face, "cell_counts", lambda coats: (FINE_CELLS,) * coats):
        fine = case.shell()
        made = build(fine.spot, fine.fillet_m, fine.members, fine.coats)

    def reckoned(wetness: Wetness) -> Surroundings:
        return around_spot(made, fine.members, fine.size_m, wetness, case.air).air

    tight = CvodeReference(made.solver.medium, reckoned).seconds_until(
        _begun(fine, case), _left(fine, made, case), fit_limit(case.kind)
    )
    usual = _shell_seconds(shell, case.air, fit_limit(case.kind), tight)
    return near("mesh", name, usual, tight, SOURCE, share=CELLS_SHARE, unit=" s", digits=6)


def step_rows() -> Iterator[Row]:
    """All of them."""
    return map(step_row, FACES | JOINTS)


def cell_rows() -> Iterator[Row]:
    """All of them."""
    return map(cell_row, CELL_CASES)


def _begun(shell: SpotShell, case: Case) -> Wetness:
    """Just dipped, and as warm as the air."""
    assert shell.wetness is not None
    return replace(shell.wetness, temp_c=np.full(shell.wetness.temp_c.shape, case.air.temp_c))


def _left(shell: SpotShell, made: Build, case: Case) -> Callable[[Floats], float]:
    """What remains at the slow column, by the saturations of the cells."""
    dry = equilibrium_saturation(min(case.air.rh_pct, EQUILIBRIUM_RH_PCT))
    water = made.solver.medium.capacity * made.network.judged
    newest = made.network.coat == len(shell.coats) - 1
    brought = (water * (made.fresh - dry))[:, newest].sum(axis=1)
    slow = made.shape.columns.slow

    def left(saturation: Floats) -> float:
        return float(((water * (saturation - dry)).sum(axis=1) / brought)[slow])

    return left


def _solver_seconds(
    made: Build,
    state: Wetness,
    held: Surroundings,
    left: Callable[[Floats], float],
    limit: float,
    about: float,
) -> float:
    """When the solver gets there: long strides, gone back on and shortened where one goes too far."""
    seconds, stride = 0.0, 0.05 * about
    while True:
        after = made.solver.advance(state, held, stride)
        if left(after.saturation) > limit:
            state, seconds = after, seconds + stride
        elif stride > _LAST_LOOK_S:
            stride /= 8.0
        else:
            return seconds + stride * _share(left(state.saturation), left(after.saturation), limit)


def _shell_seconds(shell: SpotShell, air: Air, limit: float, about: float) -> float:
    seconds, stride = 0.0, 0.05 * about
    while True:
        after = shell.advance(air, stride)
        now = float(after.remaining()[0])
        if now > limit:
            shell, seconds = after, seconds + stride
        elif stride > 5.0 * _LAST_LOOK_S:
            stride /= 4.0
        else:
            return seconds + stride * _share(float(shell.remaining()[0]), now, limit)


def _share(before: float, after: float, limit: float) -> float:
    """How far on in a stretch an exponential comes to the limit [-]."""
    return float(np.log(before / limit) / np.log(before / after))
