"""Compiles the quick kernel ahead of its first use, at the installation: `python -m server.drying.compiling`."""

import sys
import time

from sensors.air import Air
from server.drying.kernel_choice import quick
from server.drying.materials import coat
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot

EVERY_KIND = ("face", "joint:60", "pocket:14x18", "cavity:60x0.2,blown")
"""A spot of each kind: between them they take every path of the kernel."""


def compile_ahead() -> bool:
    """Step a spot of each kind once over two coats; False where no quick kernel is at work here."""
    if quick() is None:
        return False
    for code in EVERY_KIND:
        shell = SpotShell.bare(parse_spot(code), 25.0)
        for kind in ("prime", "backup"):
            shell = shell.dip(coat(kind)).advance(Air(20.0, 50.0, 0.5), 600.0).advance(None, 600.0)
    return True


if __name__ == "__main__":
    began = time.monotonic()
    if compile_ahead():
        sys.stdout.write(f"Compiled in {time.monotonic() - began:.0f} s.\n")
    else:
        sys.stdout.write("It runs uncompiled here: Numba is missing, or its code can be kept nowhere.\n")
