"""Which kernel steps the shells: the quick one, compiled by Numba, or where that is missing its twin.

Both give the same numbers to rounding, so that either takes up what the other left. The choice is made at the
first step and not before: loading Numba takes about a second, which a page must not wait for.

Compiled code is kept in the program's own folder, or in the one that Numba's NUMBA_CACHE_DIR names.
"""

import hashlib
import importlib
import os
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import Any

CHOICE = "SLOWCORNER_KERNEL"
"""Environment variable: `numpy` or `numba` settles the choice."""

_SPARE: list[Path] = []


@lru_cache(maxsize=1)
def quick() -> ModuleType | None:
    """The quick kernel's module, or None where the twin is to do the work.

    Raises ValueError for a choice that is none, and ImportError where Numba was asked for and is missing.
    Where compiled code can be kept nowhere, the twin it is: compiling takes half a minute each time.
    """
    wanted = os.environ.get(CHOICE, "")
    if wanted not in ("", "numpy", "numba"):
        raise ValueError(f"{CHOICE} is {wanted!r}: it can be 'numpy' or 'numba'")
    if wanted == "numpy":
        return None
    try:
        numba = importlib.import_module("numba")
    except ImportError:
        if wanted:
            raise
        return None
    before = numba.config.CACHE_DIR
    folder = _cache_folder([before] if before else [])
    if folder is None:
        return None
    numba.config.CACHE_DIR = str(folder)
    try:
        _leave_out_blas()
        return importlib.import_module("server.drying.quick")
    finally:
        numba.config.CACHE_DIR = before


def compiled_from() -> list[Path]:
    """The files that compiled code comes from: the kernel's own, and those whose figures it takes in."""
    here = Path(__file__).parent
    figures = ("joint_vapour", "kernel", "rosenbrock", "skin", "transfer")
    others = [here / f"{name}.py" for name in figures]
    return [*sorted(here.glob("quick*.py")), *others, here.parents[1] / "sensors" / "humid_air.py"]


def _leave_out_blas() -> None:
    """Numba would load SciPy's algebra, 25 MB, for products of matrices that the kernel has none of.

    The name is Numba's own and not for others: where it is gone, the algebra is loaded.
    """
    algebra: Any = importlib.import_module("numba.np.linalg")
    before = getattr(algebra, "ensure_blas", None)
    if before is None:
        return

    def missing() -> None:
        raise ImportError("not loaded to save memory")

    algebra.ensure_blas = missing
    try:
        importlib.import_module("numba.np.arraymath")
    finally:
        algebra.ensure_blas = before


def keep_compiled_in(folder: Path) -> None:
    """Keep compiled code there where the program's own folder cannot be written to."""
    _SPARE.append(folder)


def _cache_folder(given: list[str]) -> Path | None:
    """Where this version of the compiled code is kept; None where nothing can be written.

    Numba knows code that has changed by the file of the function it compiles, not by those of the functions
    that one calls, nor of the figures compiled in: the name says what all of them were.
    """
    here = Path(__file__).parent
    version = hashlib.sha256(b"".join(path.read_bytes() for path in compiled_from())).hexdigest()[:12]
    for place in [*map(Path, given), here / "__pycache__", *_SPARE, Path("~/.cache/slowcorner").expanduser()]:
        folder = place / f"quick-{version}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return folder
    return None
