"""Which readings of a place count towards its air, and what they are after calibration."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sensors.calibration import Corrections
from sensors.clock import Millis
from sensors.reading import Reading
from server.store import calibrations
from server.store.engine import Engine


@dataclass(frozen=True)
class Usable:
    """What of a place's readings counts: those of nodes in a jar of salt do not, the others are corrected."""

    corrections: Corrections
    jars: Sequence[tuple[str, Millis, Millis | None]]

    def of(self, said: Iterable[Reading]) -> list[Reading]:
        """The readings that count, as they are right."""
        return [self.corrections.apply(one) for one in said if not self._in_jar(one)]

    def _in_jar(self, said: Reading) -> bool:
        return any(
            node == said.node and begun <= said.time and (ended is None or said.time < ended)
            for node, begun, ended in self.jars
        )


def usable_readings(engine: Engine, place: str) -> Usable:
    """What counts in a place by its calibrations and jars as they are kept now."""
    lines = calibrations.corrections(engine, place)
    return Usable(Corrections(lines), calibrations.jar_spans(engine, place))
