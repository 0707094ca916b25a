"""Compiles the quick kernel ahead of its first use, half a minute or more; a moment where that is done.

python -m server.drying.compile_kernel
"""

from sensors.air import Air
from server.drying.materials import coat
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot


def main() -> None:
    """Step one spot, in air and in a gap: that compiles what there is."""
    shell = SpotShell.bare(parse_spot("face"), 25.0).dip(coat("backup"))
    shell.advance(Air(21.0, 50.0, 0.5), 60.0).advance(None, 60.0)


if __name__ == "__main__":
    main()
