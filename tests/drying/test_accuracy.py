"""Step and mesh: the default run against a fine one of its own, 32 cells a coat and a tight tolerance."""

from functools import partial

import numpy as np
import pytest

from sensors.air import Air
from server.drying import build, face, in_air
from server.drying.kernel import Solver
from server.drying.materials import fit_limit
from tests.drying.shells import SHOP, dipped, member

FINE_TOLERANCE_KG_M3 = 0.005
FINE_CELLS = 32

CASES = {
    "first backup coat": ("face", "backup", 0, SHOP, {}),
    "first prime coat": ("face", "prime", 0, SHOP, {}),
    "on three coats": ("face", "backup", 3, SHOP, {}),
    "on three that hardly drink": ("face", "backup", 3, SHOP, {"rewetting": 1000.0}),
    "slow capillaries": ("face", "backup", 0, SHOP, {"diffusivity": 0.01, "exponent": 5.0}),
    "slow, on three that hardly drink": (
        "face",
        "backup",
        3,
        SHOP,
        {"diffusivity": 0.01, "exponent": 5.0, "rewetting": 100.0},
    ),
    "cool, damp, still": ("face", "backup", 0, Air(15.0, 70.0, 0.05), {}),
    "hot, dry, windy": ("face", "backup", 0, Air(30.0, 15.0, 3.0), {"diffusivity": 0.1}),
    "pocket": ("pocket:12x20", "backup", 0, SHOP, {}),
}


def seconds_to_dry(code: str, kind: str, older: int, air: Air, figures: dict[str, float]) -> float:
    """Until no more remains than the next coat allows, interpolated between looks of 5 % [s]."""
    coat, limit, seconds = dipped(code, kind, older, air, member(**figures)), fit_limit(kind), 0.0
    while True:
        before, look = float(coat.remaining()[0]), min(max(60.0, 0.05 * seconds), 1200.0)
        coat, seconds = coat.advance(air, look), seconds + look
        now = float(coat.remaining()[0])
        if now <= limit:
            return float(seconds - look * (1.0 - np.log(before / limit) / np.log(before / now)))


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_time_to_dry(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps and the pieces in which the film is reckoned: 10 s or 0.1 % of the time; with the mesh: 1 %."""
    usual = seconds_to_dry(*CASES[name])
    monkeypatch.setattr(build, "Solver", partial(Solver, tolerance=FINE_TOLERANCE_KG_M3))
    monkeypatch.setattr(in_air, "SHORTEST_PIECE_S", 10.0)
    monkeypatch.setattr(in_air, "LONGEST_PIECE_S", 60.0)
    steps = usual - seconds_to_dry(*CASES[name])
    monkeypatch.setattr(face, "cell_counts", lambda coats: (FINE_CELLS,) * coats)
    fine = seconds_to_dry(*CASES[name])
    share = usual / fine - 1.0
    print(f"{name}: {usual:.0f} s; steps {steps:+.1f} s; with the mesh {usual - fine:+.1f} s, {share:+.2%}")
    assert abs(steps) < max(10.0, 1e-3 * usual)
    assert usual == pytest.approx(fine, rel=0.01)
