"""The drying model's speed, measured side by side with another solver in one run.

    python -m tests.benchmarks.bench_kernel

The other solver is CVODE (SUNDIALS, through scikit-sundae) on the same equations in the same air, all lanes
one banded system, its right side reckoned for all lanes at once; its tolerance is the loosest that errs no
more than the kernel does against a run of CVODE's at 1e-9. The floor is what the kernel's exponentials,
multiply-adds and divisions alone would take at the rates this machine shows in the same run. All times are
of the processor, one core, so that what else the machine does counts for little.
"""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from statistics import median
from time import perf_counter, process_time
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from sensors.air import Air
from server.drying import face, kernel_choice
from server.drying.around import around_spot
from server.drying.materials import Members, coat
from server.drying.medium import Surroundings, Wetness
from server.drying.numpy_step import NumpySteps
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from tests.drying.cvode_reference import CvodeReference

Floats = NDArray[np.float64]

MEMBERS = 32
DAY_S = 86400.0
LIVE_AT_S = (600.0, 3600.0, 14400.0, 43200.0)
LOOKS_S = (1800.0, 3600.0, 7200.0, 14400.0, 28800.0, DAY_S)
FLOOR_TURNS = 5
TOLERANCES = (3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 3e-7, 1e-7)
SHOP = Air(21.0, 50.0, 0.6)

CELL_EXPONENTIALS, CELL_MULTIPLY_ADDS, CELL_DIVISIONS = 2, 36, 2
"""Of one cell in one step of a column, counted in quick_step and quick_matrix: potentials and their slopes 5,
the matrix and its elimination 6, the rates twice 6, three solves 12, what they start from 4, the result 3.
What finds the error, comparisons and copies are not counted.
"""


def members(count: int = MEMBERS, seed: int = 1) -> Members:
    """Members over the usual width of what is not known."""
    draw = np.random.default_rng(seed)
    return Members(
        air_speed=np.exp(draw.normal(0.0, 0.3, count)),
        film_spread=draw.uniform(0.5, 0.9, count),
        water=np.exp(draw.normal(0.0, 0.1, count)),
        diffusivity=10.0 ** draw.uniform(-2.0, 0.0, count),
        exponent=draw.uniform(2.0, 6.0, count),
        rewetting=10.0 ** draw.uniform(0.0, 3.4, count),
        joint_layer=np.exp(draw.normal(0.0, 0.3, count)),
        fillet=np.ones(count),
        lee=draw.normal(0.0, 1.0, count),
        temp_k=draw.normal(0.0, 0.3, count),
        rh_pct=draw.normal(0.0, 2.0, count),
    )


def dipped(code: str, coats: int, of: Members) -> SpotShell:
    """The last coat just on, over dry ones."""
    shell = SpotShell.bare(parse_spot(code), 25.0, members=of)
    for number in range(coats - 1):
        shell = shell.dip(coat("prime" if number < 2 else "backup"))
    return shell.at_equilibrium(50.0).dip(coat("backup"))


class Peer(CvodeReference):
    """CVODE, spared what a reference needs: lone surfaces settle by a few turns of Newton's method."""

    def _leaving(self, below: Floats, temp: Floats, air: Surroundings) -> Floats:
        if self.stations.size > 1:
            return super()._leaving(below, temp, air)
        medium, beyond = self.medium, temp - air.ground_temp_c
        level, slope, half_curve = air.saturation_log
        density = np.exp(level + beyond * (slope + half_curve * beyond))
        b, let, below = self.b[:, 0], air.vapour[:, 0, 0], below[:, 0]
        inside, surface = medium.surface[:, 0], self.surface[:, 0]
        for _ in range(20):
            dryness = np.maximum(1.0 - np.log1p(b * surface) / b / medium.sorption_limit, 0.0)
            square = dryness * dryness
            excess = inside * (below - surface) - let * ((1.0 - square * dryness) * density - air.air_vapour)
            rise = 3.0 / medium.sorption_limit * square / (1.0 + b * surface)
            after = np.maximum(surface + excess / (inside + let * rise * density), 0.0)
            settled = bool((np.abs(after - surface) <= 1e-10 * (1e-3 + after)).all())
            surface = after
            if settled:
                break
        self.surface = surface[:, None]
        return np.asarray((inside * (below - surface))[:, None])

    def course(self, state: Wetness, looks_s: tuple[float, ...]) -> Floats:
        """Water left of each lane over its start at these times, (times, L)."""
        # Of two times alone it would give all its own steps between them.
        looks = np.array([0.0, 0.5 * looks_s[0], *looks_s])
        found = self._solver().solve(looks, self._packed(state))
        assert found.success, found.message
        wet = np.delete(found.y, 1, axis=0).reshape(len(looks_s) + 1, self.lanes, -1)[:, :, 1:]
        water = (wet * self.medium.capacity).sum(axis=2)
        return np.asarray(water[1:] / water[0])


def seconds(action: Callable[[], object], runs: int = 3) -> float:
    """The quickest of some runs [s]."""
    best = np.inf
    for _ in range(runs):
        start = process_time()
        action()
        best = min(best, process_time() - start)
    return float(best)


def row(name: str, figure: str, bar: str = "") -> None:
    """A line of the table."""
    print(f"{name:<62}{figure:>18}   {bar}", flush=True)


def equal_accuracy(name: str, shell: SpotShell, bar: str) -> tuple[float, Wetness, Surroundings]:
    """The kernel and CVODE over a day of held air; the kernel's seconds."""
    built = shell.built
    assert built is not None
    assert shell.wetness is not None
    state = replace(shell.wetness, temp_c=np.full(built.lanes, 21.0))
    air = around_spot(built, shell.members, shell.size_m, state, SHOP).air
    start = (state.saturation * built.solver.medium.capacity).sum(axis=1)

    def by_kernel() -> Floats:
        left, now, at = [], state, 0.0
        for look in LOOKS_S:
            now, at = built.solver.advance(now, air, look - at), look
            left.append((now.saturation * built.solver.medium.capacity).sum(axis=1) / start)
        return np.stack(left)

    found = by_kernel()
    mine = seconds(by_kernel)
    medium = built.solver.medium
    tight = Peer(medium, lambda _: air, 1e-9).course(state, LOOKS_S)
    error = float(np.abs(found - tight).max())
    for tolerance in TOLERANCES:
        peer = Peer(medium, lambda _: air, tolerance)
        begin = process_time()
        theirs = float(np.abs(peer.course(state, LOOKS_S) - tight).max())
        took = process_time() - begin
        if theirs <= error:
            break
    row(f"{name}, kernel", f"{mine * 1e3:.1f} ms", f"errs {error:.1e} of a coat's water")
    row(f"{name}, CVODE at {tolerance:g}", f"{took * 1e3:.0f} ms", f"errs {theirs:.1e}")
    row(f"{name}, CVODE over kernel", f"{took / mine:.1f} x", bar)
    return mine, state, air


def faces(cells_a_coat: int = 4, coats: int = 10) -> SpotShell:
    """A face of 96 columns of 40 cells."""
    with patch.object(face, "cell_counts", lambda n: (cells_a_coat,) * n):
        return dipped("face", coats, members())


def columns() -> None:
    """The day of 2880 columns, its floor, and how cost grows with columns."""
    shell = faces()
    assert shell.built is not None
    solver = shell.built.solver
    _, state, air = equal_accuracy("96 columns x 40 cells, a day", shell, "bar 20 x")
    quick = kernel_choice.quick()
    assert quick is not None
    # Turn about, the best of each: what else the machine does would be in one and not in the other.
    whole, (exponential, multiply_add, division) = np.inf, rates()
    for _ in range(FLOOR_TURNS):
        whole = min(whole, seconds(lambda: [solver.advance(state, air, DAY_S) for _ in range(30)], 1))
        exponential, multiply_add, division = np.minimum((exponential, multiply_add, division), rates())
    row("2880 columns x 40 cells, a day, kernel", f"{whole:.2f} s", f"{whole / 2.88:.3f} ms a column and day")
    steps = count_steps(state, air, shell)
    work = 2880 * 40 * steps
    floor = work * (
        CELL_EXPONENTIALS * exponential + CELL_MULTIPLY_ADDS * multiply_add + CELL_DIVISIONS * division
    )
    row("  the arithmetic's floor on this machine", f"{floor:.2f} s", f"{steps} steps a lane")
    row("  kernel over floor", f"{whole / floor:.2f} x", "bar 2 x")
    sizes, times = [3, 10, 30, 100, 300], []
    for spots in sizes:
        times.append(seconds(lambda n=spots: [solver.advance(state, air, 3600.0) for _ in range(n)], 3))  # type: ignore[misc]
    slope = np.polyfit(np.log(sizes), np.log(times), 1)[0]
    row("288 to 28800 columns, slope of log cost over log columns", f"{slope:.3f}", "bar 1.00 ± 0.05")


def count_steps(state: Wetness, air: Surroundings, shell: SpotShell) -> int:
    """Steps, refused ones too, that the twin takes over the day."""
    assert shell.built is not None
    steps, tries = NumpySteps(shell.built.solver), [0]
    attempt = steps._try

    def counted(*given: object) -> object:
        tries[0] += 1
        return attempt(*given)  # type: ignore[arg-type]

    with patch.object(steps, "_try", counted):
        steps.advance(state, air, DAY_S)
    return tries[0]


def rates() -> tuple[float, float, float]:
    """Seconds of an exponential, a multiply-add and a division, lanes side by side in the first cache."""
    from tests.benchmarks import arithmetic_rates  # noqa: PLC0415  (loads Numba)

    return arithmetic_rates.measure()


def joints() -> None:
    """Joints over the members, against CVODE with its band."""
    for coats in (1, 3):
        name = f"a 35° joint of {coats} coat{'s' * (coats > 1)} x 32 members, a day"
        equal_accuracy(name, dipped("joint:35", coats, members()), "bar 10 x")


def the_rack() -> list[SpotShell]:
    """Twenty trees at coats 1 to 10: 60 faces, 40 joints, 20 pockets."""
    of = members()
    codes = ("face", "face", "face", "joint:35", "joint:60", "pocket:12x30")
    ten = [dipped(code, coats, of) for coats in range(1, 11) for code in codes]
    return [*ten, *ten]


def rack() -> None:
    """The whole rack a day ahead."""
    spots = [shell.advance(SHOP, 600.0) for shell in the_rack()]

    def a_day() -> None:
        for shell in spots:
            for _ in range(48):
                shell = shell.advance(SHOP, 1800.0)

    row("the rack (20 trees, 120 spots, 32 members) a day ahead", f"{seconds(a_day, 2):.2f} s", "bar 5 s")
    block = seconds(lambda: [shell.advance(SHOP, 600.0) for shell in spots], 2)
    row("the rack, one block of ten minutes", f"{block * 1e3:.0f} ms")


def live() -> None:
    """Live steps of 60 s of half the rack at some times after the dip, beside CVODE's of the same states."""
    spots, age, ratios, of_faces, whole = the_rack()[:60], 0.0, [], [], []
    for look in LIVE_AT_S:
        while age < look:
            spots, age = [shell.advance(SHOP, 600.0) for shell in spots], age + 600.0
        mine = [seconds(lambda s=shell: s.advance(SHOP, 60.0)) for shell in spots]  # type: ignore[misc]
        theirs = [_peer_seconds(shell) for shell in spots]
        faces = [shell.spot.code == "face" for shell in spots]
        ratios.append(sum(theirs) / sum(mine))
        of_faces += [t / m for t, m, face in zip(theirs, mine, faces, strict=True) if face]
        whole.append(2.0 * sum(mine))
    row("the rack, a live step of 60 s, median", f"{median(whole) * 1e3:.0f} ms")
    row("  CVODE at 1e-5 over kernel, median of the steps", f"{median(ratios):.0f} x", "bar 50 x")
    row("  faces alone", f"{median(of_faces):.0f} x")


def _peer_seconds(shell: SpotShell) -> float:
    """CVODE's seconds for the next 60 s of a shell."""
    assert shell.built is not None
    assert shell.wetness is not None
    state = shell.wetness
    air = around_spot(shell.built, shell.members, shell.size_m, state, SHOP).air
    peer = Peer(shell.built.solver.medium, lambda _: air, 1e-5)
    return seconds(lambda: peer.course(state, (60.0,)), 1)


def fortnight() -> None:
    """A ten-coat tree's three spots through two weeks of air that changes with every block."""
    of = members()

    def go() -> None:
        for code in ("face", "joint:35", "pocket:12x30"):
            shell = SpotShell.bare(parse_spot(code), 25.0, members=of)
            for block in range(2016):
                if block % 201 == 0 and len(shell.coats) < 10:
                    shell = shell.dip(coat("prime" if block < 300 else "backup"))
                turn = 2.0 * np.pi * block / 144.0
                air = Air(19.0 + 4.0 * np.sin(turn), 52.0 - 12.0 * np.sin(turn), 0.4)
                shell = shell.advance(air, 600.0)
                shell.remaining()

    row("ten coats, face, 35° joint and pocket, two weeks, 32 members", f"{seconds(go, 1):.2f} s", "bar 10 s")


def memory() -> None:
    """What a process holds that has the whole program loaded and has stepped, with either kernel."""
    program = (
        "import server.app\n"
        "from sensors.air import Air\n"
        "from server.drying.materials import CENTRE, coat\n"
        "from server.drying.shell import SpotShell\n"
        "from server.drying.spots import parse_spot\n"
        f"of = CENTRE.take([0] * {MEMBERS})\n"
        "for code in ('face', 'joint:35'):\n"
        "    shell = SpotShell.bare(parse_spot(code), 25.0, members=of).dip(coat('backup'))\n"
        "    shell.advance(Air(21.0, 50.0, 0.6), 600.0)\n"
        "print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmRSS')))\n"
    )
    for which, bar in (("numba", "bar 250 MB"), ("numpy", "bar 150 MB")):
        env = {**os.environ, kernel_choice.CHOICE: which}
        found = subprocess.run([sys.executable, "-c", program], env=env, capture_output=True, check=True)
        row(f"resident memory of the program, {which}", f"{int(found.stdout) / 1024:.0f} MB", bar)


def main() -> None:
    """Print the table."""
    if kernel_choice.quick() is None:
        raise SystemExit("the quick kernel is not at work: Numba is missing, or the choice is 'numpy'")
    start = perf_counter()
    dipped("face", 1, members(1)).advance(SHOP, 60.0)
    row("loading (or compiling) the quick kernel", f"{perf_counter() - start:.1f} s")
    for part in (columns, joints, rack, live, fortnight, memory):
        part()
    row("this benchmark", f"{perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
