"""The air along a tree's way through the shop: a tree that moved dried in each place while it hung there."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from sensors.air import Air, PlaceAir
from sensors.clock import Millis
from sensors.series import Span
from server.store.values import TreeEvent


class AirRecord(Protocol):
    """What a judge asks of the air: one place's record, or that along a tree's way."""

    def mean(self, start: Millis, end: Millis) -> Air | None:
        """Mean air over [start, end) [ms]; None where it is not known all through."""
        ...

    def known_until(self) -> Millis | None:
        """End of what is settled [ms], None if nothing is."""
        ...

    def latest(self) -> tuple[Millis, Air] | None:
        """The newest air and its time [ms]."""
        ...

    def missing(self, start: Millis, end: Millis) -> tuple[Span, ...]:
        """The stretches of [start, end) in which the air is not known [ms], in order."""
        ...


@dataclass(frozen=True)
class Stay:
    """From `since` on [ms] the tree hung in `place`, whose air is `air`."""

    since: Millis
    place: str
    air: PlaceAir


class AirAlong:
    """The air records of the places a tree hung in, one after the other, as one record.

    What is settled is asked of the place where it hangs now; what an earlier place still has to tell about
    its own stay comes as a late reading does, and is judged anew.
    """

    def __init__(self, stays: Sequence[Stay]) -> None:
        if not stays:
            raise ValueError("a tree hangs somewhere: no stay was given")
        self._stays = tuple(stays)

    @property
    def places(self) -> frozenset[str]:
        """Every place it hung in."""
        return frozenset(stay.place for stay in self._stays)

    def mean(self, start: Millis, end: Millis) -> Air | None:
        """Mean air over [start, end) where it hung for most of that time; None where it is not known."""
        return self._stay_at((start + end) // 2).air.mean(start, end)

    def known_until(self) -> Millis | None:
        """End of what is settled [ms], None if nothing is."""
        return self._stays[-1].air.known_until()

    def latest(self) -> tuple[Millis, Air] | None:
        """The newest air where it hangs now, and its time [ms]."""
        return self._stays[-1].air.latest()

    def missing(self, start: Millis, end: Millis) -> tuple[Span, ...]:
        """The stretches of [start, end) not known where it hung for most of that time [ms], in order."""
        return self.at((start + end) // 2).missing(start, end)

    def at(self, time: Millis) -> PlaceAir:
        """The whole record of the place where it hung at a time [ms]."""
        return self._stay_at(time).air

    def _stay_at(self, time: Millis) -> Stay:
        return next((stay for stay in reversed(self._stays) if stay.since <= time), self._stays[0])


def where(record: AirRecord, time: Millis) -> AirRecord:
    """The record of the one place where the tree hung at a time [ms]: its own days, not those elsewhere."""
    return record.at(time) if isinstance(record, AirAlong) else record


def places_along(events: Iterable[TreeEvent]) -> list[tuple[Millis, str]]:
    """Where a tree hung from when on [ms], by what was said of it, in order.

    >>> added = TreeEvent("added", 5, 5, {"place": "cellar"})
    >>> moved = TreeEvent("amended", 9, 9, {"place": "loft"})
    >>> places_along([added, moved, TreeEvent("amended", 12, 12, {"label": "Heron"})])
    [(5, 'cellar'), (9, 'loft')]
    """
    return [
        (event.at, str(event.payload["place"]))
        for event in events
        if event.kind in ("added", "amended") and event.payload.get("place") is not None
    ]
