"""Which readings of a place count towards its air, and what they are after calibration."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sensors.calibration import Corrections
from sensors.clock import Millis
from sensors.reading import Reading
from server.store import calibrations
from server.store.engine import Engine
from server.store.wrong_clocks import wrong_clocks


@dataclass(frozen=True)
class Usable:
    """What of a place's readings counts, and as what.

    Those of a node that was away do not, in a jar of salt or by its clock: (node, from, to or None) [ms]; the
    others are corrected.
    """

    corrections: Corrections
    away: Sequence[tuple[str, Millis, Millis | None]]

    def of(self, said: Iterable[Reading]) -> list[Reading]:
        """The readings that count, as they are right."""
        away: dict[str, list[tuple[Millis, Millis | None]]] = {}
        for node, begun, ended in self.away:
            away.setdefault(node, []).append((begun, ended))
        apply = self.corrections.apply
        return [apply(one) for one in said if one.node not in away or not _within(away[one.node], one.time)]


def _within(spans: Iterable[tuple[Millis, Millis | None]], time: Millis) -> bool:
    return any(begun <= time and (ended is None or time < ended) for begun, ended in spans)


def usable_readings(engine: Engine, place: str) -> Usable:
    """What counts in a place by its calibrations, jars and wrong clocks as they are kept now."""
    lines = calibrations.corrections(engine, place)
    wrong = [(one.node, one.since, one.until) for one in wrong_clocks(engine, place)]
    return Usable(Corrections(lines), [*calibrations.jar_spans(engine, place), *wrong])
