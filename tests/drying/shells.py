"""Shells of one spot for tests, with members of one's own."""

from dataclasses import replace

import numpy as np

from sensors.air import Air
from server.drying.materials import CENTRE, Members, coat
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot

SHOP = Air(21.0, 50.0, 0.6)
"""A usual shop: 21 °C and 50 %RH; 0.6 m/s is what a published trial with fans says of its air."""


def member(**figures: float) -> Members:
    """The centre, but for these figures."""
    return replace(CENTRE, **{name: np.array([value]) for name, value in figures.items()})


def dipped(
    code: str = "face",
    kind: str = "backup",
    older: int = 0,
    air: Air = SHOP,
    members: Members = CENTRE,
    size_mm: float = 25.0,
    thickness_mm: float | None = None,
) -> SpotShell:
    """A coat just on, over so many backup coats at equilibrium with the air."""
    shell = SpotShell.bare(parse_spot(code), size_mm, members=members)
    for _ in range(older):
        shell = shell.dip(coat("backup"))
    return shell.at_equilibrium(air.rh_pct).dip(coat(kind, thickness_mm))


def after(shell: SpotShell, air: Air | None, minutes: float) -> SpotShell:
    """So many minutes later, in blocks of ten."""
    while minutes > 0.0:
        shell = shell.advance(air, 60.0 * min(minutes, 10.0))
        minutes -= 10.0
    return shell
