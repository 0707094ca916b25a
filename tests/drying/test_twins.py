"""The quick kernel and its twin in NumPy: the same steps, the same numbers, whichever is at work."""

import ast
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.linalg.lapack import dgbtrf

from sensors.air import Air
from server.drying import kernel_choice, numpy_step
from server.drying.materials import Members, coat
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from tests.drying.shells import SHOP, member

if os.environ.get("SLOWCORNER_TEST_ALL") != "1":  # asked for every test, a missing Numba is a failure
    pytest.importorskip("numba")

NIGHT = Air(14.0, 78.0, 0.1)
WARM = Air(27.0, 31.0, 1.4, pressure_pa=84_556.0)


def several(count: int, seed: int = 7) -> Members:
    """Members that differ in all that matters to the solver."""
    draw = np.random.default_rng(seed)

    def lognormal(spread: float) -> np.ndarray:
        return np.exp(draw.normal(0.0, spread, count))

    return Members(
        air_speed=lognormal(0.3),
        film_spread=draw.uniform(0.4, 0.9, count),
        water=lognormal(0.1),
        diffusivity=10.0 ** draw.uniform(-2.0, 0.0, count),
        exponent=draw.uniform(2.0, 6.0, count),
        rewetting=10.0 ** draw.uniform(0.0, 3.0, count),
        joint_layer=lognormal(0.3),
        fillet=np.ones(count),
        lee=draw.normal(0.0, 1.0, count),
        temp_k=draw.normal(0.0, 0.3, count),
        rh_pct=draw.normal(0.0, 2.0, count),
    )


def use(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setenv(kernel_choice.CHOICE, name)
    kernel_choice.quick.cache_clear()


@pytest.fixture(autouse=True)
def _choose_again() -> Iterator[None]:
    yield
    kernel_choice.quick.cache_clear()


def a_day(code: str, coats: int, members: Members) -> SpotShell:
    """So many coats an hour apart, then a night, a warm day and a gap, in blocks of ten minutes."""
    shell = SpotShell.bare(parse_spot(code), 30.0, members=members)
    for number in range(coats):
        shell = shell.dip(coat("prime" if number == 0 else "backup"))
        for air in (SHOP, WARM):
            shell = shell.advance(air, 600.0)
    for block in range(144):
        air = NIGHT if block < 72 else WARM
        shell = shell.advance(None if 60 <= block < 66 else air, 600.0)
    return shell


CASES: dict[str, tuple[str, int, Callable[[], Members]]] = {
    "face, one coat, one member": ("face", 1, lambda: member()),
    "face, ten coats, several members": ("face", 10, lambda: several(4)),
    "pocket, three coats": ("pocket:12x40", 3, lambda: several(5)),
    "blown cavity": ("cavity:60x0.2,blown", 2, lambda: several(2)),
    "joint, one member": ("joint:90", 2, lambda: member()),
    "joint, several coats and members": ("joint:35", 4, lambda: several(4)),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_a_day_of_both(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Water of every cell 1e-9 relative, temperature and what evaporated too."""
    code, coats, of_members = CASES[name]
    found = {}
    for which in ("numba", "numpy"):
        use(monkeypatch, which)
        found[which] = a_day(code, coats, of_members())
    quick, twin = found["numba"], found["numpy"]
    assert quick.wetness is not None
    assert twin.wetness is not None
    worst = np.abs(quick.wetness.saturation / twin.wetness.saturation - 1.0).max()
    print(f"{name}: {worst:.1e} on water")
    assert worst < 1e-9
    assert quick.temp_c == pytest.approx(twin.temp_c, abs=1e-9)
    assert quick.evaporated_kg == pytest.approx(twin.evaporated_kg, rel=1e-9)
    assert quick.remaining() == pytest.approx(twin.remaining(), rel=1e-8, abs=1e-10)
    assert quick.cooling_k() == pytest.approx(twin.cooling_k(), rel=1e-7, abs=1e-9)


def test_the_twin_never_pivots(monkeypatch: pytest.MonkeyPatch) -> None:
    """The quick kernel eliminates without pivots: LAPACK, which may pivot, must find none to do."""
    use(monkeypatch, "numpy")
    rows = []

    def seen(*args: Any, **named: Any) -> Any:
        lu, pivots, trouble = dgbtrf(*args, **named)
        rows.append(pivots)
        return lu, pivots, trouble

    monkeypatch.setattr(numpy_step, "dgbtrf", seen)
    for code in ("face", "joint:30", "joint:150"):
        shell = SpotShell.bare(parse_spot(code), 30.0, members=several(3))
        for _ in range(3):
            shell = shell.dip(coat("backup")).advance(SHOP, 600.0)
    assert len(rows) > 60
    assert all((pivots == np.arange(pivots.size)).all() for pivots in rows)


def check_both(monkeypatch: pytest.MonkeyPatch, check: Callable[[], None]) -> None:
    for which in ("numba", "numpy"):
        use(monkeypatch, which)
        check()


def test_the_driest_air_and_a_dry_shell(monkeypatch: pytest.MonkeyPatch) -> None:
    """Water is never below nothing, nor anything NaN, with either kernel."""
    check_both(monkeypatch, never_below_nothing)


@settings(max_examples=12, deadline=None)
@given(
    code=st.sampled_from(["face", "pocket:10x30", "joint:30", "joint:120"]),
    rh_pct=st.sampled_from([0.0, 0.5, 5.0, 50.0, 100.0]),
    start_pct=st.sampled_from([0.0, 5.0, 60.0, None]),
    temp_c=st.floats(-9.0, 59.0),
    speed_m_s=st.floats(0.0, 15.0),
    diffusivity=st.floats(-2.0, 1.0),
    exponent=st.floats(0.0, 7.0),
    seconds=st.sampled_from([60.0, 600.0, 86400.0]),
)
@example("face", 0.0, 5.0, 0.0, 1.0, 0.0, 0.0, 600.0)
def never_below_nothing(
    code: str,
    rh_pct: float,
    start_pct: float | None,
    temp_c: float,
    speed_m_s: float,
    diffusivity: float,
    exponent: float,
    seconds: float,
) -> None:
    shell = SpotShell.bare(
        parse_spot(code), 25.0, members=member(diffusivity=10.0**diffusivity, exponent=exponent)
    ).dip(coat("backup"))
    if start_pct is not None:
        shell = shell.at_equilibrium(start_pct)
    for _ in range(2):
        shell = shell.advance(Air(temp_c, rh_pct, speed_m_s), seconds)
    assert shell.wetness is not None
    assert np.isfinite(shell.wetness.saturation).all()
    assert (shell.wetness.saturation > -1e-6).all()
    assert (shell.wetness.saturation < 1.3).all()
    for figure in (shell.remaining(), shell.cooling_k(), shell.temp_c, shell.evaporated_kg):
        assert np.isfinite(figure).all()


PROGRAM = (
    "import sys\n"
    "from concurrent.futures import ThreadPoolExecutor\n"
    "from tests.drying.test_twins import a_few_hours\n"
    "with ThreadPoolExecutor(2) as pool:\n"
    "    first, second = pool.map(a_few_hours, ['joint:35', 'joint:35'])\n"
    "assert first == second\n"
    "sys.stdout.buffer.write(first)\n"
)


def a_few_hours(code: str) -> bytes:
    shell = SpotShell.bare(parse_spot(code), 30.0, members=several(3)).dip(coat("backup"))
    for air in (SHOP, NIGHT, WARM) * 4:
        shell = SpotShell.from_bytes(shell.advance(air, 600.0).to_bytes())
    return shell.to_bytes()


@pytest.mark.parametrize("which", ["numba", "numpy"])
def test_the_same_bits_in_two_threads_and_in_another_process(
    which: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    use(monkeypatch, which)
    there = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        capture_output=True,
        check=True,
        env={**os.environ, kernel_choice.CHOICE: which},
    ).stdout
    assert a_few_hours("joint:35") == there


def test_a_choice_that_is_none_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    use(monkeypatch, "fortran")
    with pytest.raises(ValueError, match="'fortran'"):
        kernel_choice.quick()


def test_without_numba_the_twin_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "numba", None)
    use(monkeypatch, "")
    assert kernel_choice.quick() is None
    use(monkeypatch, "numba")
    with pytest.raises(ImportError):
        kernel_choice.quick()


def test_compiled_code_is_kept_where_something_can_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the program's folder, or in the spare one; with neither there is the twin."""
    monkeypatch.setattr(kernel_choice, "_SPARE", [])
    made = Path.mkdir

    def only_below(self: Path, *args: Any, **named: Any) -> None:
        if tmp_path not in self.parents:
            raise PermissionError(13, "not to be written to", str(self))
        made(self, *args, **named)

    monkeypatch.setattr(Path, "mkdir", only_below)
    use(monkeypatch, "")
    assert kernel_choice.quick() is None
    kernel_choice.keep_compiled_in(tmp_path / "data")
    use(monkeypatch, "")
    assert kernel_choice.quick() is not None
    assert len(list((tmp_path / "data").glob("quick-*"))) == 1


def test_numba_is_not_loaded_before_the_first_step() -> None:
    program = (
        "import sys\n"
        "from server.drying.materials import coat\n"
        "from server.drying.shell import SpotShell\n"
        "from server.drying.spots import parse_spot\n"
        "shell = SpotShell.bare(parse_spot('joint:30'), 25.0).dip(coat('backup'))\n"
        "SpotShell.from_bytes(shell.to_bytes()).remaining()\n"
        "assert 'numba' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


def test_every_figure_that_is_compiled_in_counts_for_what_is_kept_compiled() -> None:
    """The kernel's modules take figures (names in capitals) from files that name the kept code alone."""
    files = set(kernel_choice.compiled_from())
    top = Path(kernel_choice.__file__).parents[2]
    taken = set()
    for path in files:
        if not path.name.startswith("quick_"):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and any(name.name.isupper() for name in node.names):
                taken.add(top.joinpath(*str(node.module).split(".")).with_suffix(".py"))
    assert len(taken) > 4
    assert taken - files == {top / "server" / "drying" / "medium.py"}  # of arrays made before, not compiled
