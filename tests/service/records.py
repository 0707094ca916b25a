"""Records of air and trees to judge, made up for the tests."""

from collections.abc import Iterable, Sequence

from sensors.air import PlaceAir
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.reading import Reading
from server.drying.materials import coat
from server.judging import TreeJudge
from server.tree_record import CoatDip, JudgedTree

START: Millis = 1_772_431_200_000
"""2026-03-02T06:00:00Z: a block's start."""

PLACE = "drying-room"


def steady(
    start: Millis,
    hours: float,
    temp_c: float = 21.0,
    rh_pct: float = 50.0,
    step: Millis = 5 * MINUTE_MS,
    node: str = "n1",
) -> list[Reading]:
    """Readings of air that stays as it is, but for the last digit: one figure for days is a node's fault."""
    readings = []
    for number, time in enumerate(range(start, start + round(hours * HOUR_MS) + 1, step)):
        readings.append(Reading(PLACE, node, "temperature", "Cel", temp_c, time))
        readings.append(Reading(PLACE, node, "humidity", "%RH", rh_pct - 1e-7 * (number % 2), time))
    return readings


def record(readings: Iterable[Reading], speed_m_s: float = 0.6) -> PlaceAir:
    """The air record of those readings."""
    air = PlaceAir(speed_m_s)
    air.add(readings)
    return air


def dips_at(hours: Sequence[float], kinds: Sequence[str] | None = None) -> tuple[CoatDip, ...]:
    """Dips at so many hours after the start."""
    names = kinds or ("backup",) * len(hours)
    return tuple(
        CoatDip(number, coat(kind), START + round(at * HOUR_MS), dip_id=number)
        for number, (at, kind) in enumerate(zip(hours, names, strict=True), start=1)
    )


def tree(spots: Sequence[str] = ("face", "joint:60"), coats: int = 10) -> JudgedTree:
    """A tree with those spots."""
    return JudgedTree("Heron", 25.0, tuple((code, f"spot {code}") for code in spots), coats)


def judge(
    air: PlaceAir,
    hours: Sequence[float] = (0.0,),
    spots: Sequence[str] = ("face", "joint:60"),
    coats: int = 10,
) -> TreeJudge:
    """A judge of one tree that has not looked yet."""
    return TreeJudge(tree(spots, coats), dips_at(hours), air)
