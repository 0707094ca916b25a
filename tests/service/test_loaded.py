"""What the service keeps in memory: what is large and seldom needed is not loaded by its start."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

SELDOM = ("alembic.runtime", "apprise", "pywebpush", "scipy.linalg", "scipy.special", "scipy.stats")

PROGRAM = f"""
import sys
from server import app
from server.drying import compile_kernel
from server.store.engine import open_store

open_store(sys.argv[1]).dispose()
compile_kernel.main()
print([name for name in {SELDOM!r} if name in sys.modules])
"""


def loaded(database: Path, kernel: str) -> str:
    """The large modules that a process has loaded which opened that store and stepped a spot."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, f"sqlite:///{database}"],
        env={**os.environ, "SLOWCORNER_KERNEL": kernel},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_a_start_loads_nothing_large_that_only_seldom_serves(tmp_path: Path) -> None:
    if os.environ.get("SLOWCORNER_TEST_ALL") != "1":  # asked for every test, a missing Numba is a failure
        pytest.importorskip("numba")
    database = tmp_path / "slowcorner.db"
    assert loaded(database, "numba") == "['alembic.runtime']", "tables are made the first time"
    assert loaded(database, "numba") == "[]"
    assert loaded(database, "numpy") == "['scipy.linalg']", "in which the twin solves"
