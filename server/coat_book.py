"""How coats went and what had been forecast of them, written down as it happens.

Verdicts can be made again, but a place learns: what was said of a coat at the time is what is to be told of
it later, and what a forecast is to be held against. A forecast counts as made at the dip within an hour.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from pydantic import TypeAdapter

from sensors.clock import HOUR_MS, Millis
from server.store import castings
from server.store.castings import DipForecast, KeptCoat
from server.store.engine import Engine
from server.verdicts import CoatVerdict, TreeVerdict

AT_THE_DIP_MS = HOUR_MS

_COAT = TypeAdapter(CoatVerdict)


@dataclass
class CoatBook:
    """Keeps each coat once it is over, and each forecast once it is made. Used by one thread at a time."""

    engine: Engine
    _untils: dict[tuple[int, Millis], Millis] = field(default_factory=dict)
    _foretold: set[int] = field(default_factory=set)
    _read: bool = False

    def keep(self, verdicts: Sequence[TreeVerdict], now: Millis) -> None:
        """Write down what is new in the verdicts on the rack."""
        if not self._read:
            self._untils = castings.kept_untils(self.engine)
            self._foretold = set(castings.forecasts(self.engine))
            self._read = True
        over = [coat for verdict in verdicts for coat in coats_over(verdict, now, known=self._untils)]
        castings.keep_coats(self.engine, over)
        self._untils |= {(coat.tree_id, coat.at): coat.until for coat in over}
        made = [
            one for verdict in verdicts if (one := forecast_of(verdict)) and one.dip_id not in self._foretold
        ]
        castings.keep_forecasts(self.engine, made)
        self._foretold |= {one.dip_id for one in made}


def coats_over(
    verdict: TreeVerdict,
    now: Millis,
    until: Millis | None = None,
    known: Mapping[tuple[int, Millis], Millis] = MappingProxyType({}),
) -> list[KeptCoat]:
    """The coats of a tree that another one went on; with `until`, when it left the rack, the last one too.

    `known` are those that need not be told again: by tree and time, until when they went [ms].
    """
    tree_id = verdict.outlook.tree_id
    ends = [coat.dipped_at for coat in verdict.coats[1:]]
    if until is not None:
        ends.append(until)
    return [
        KeptCoat(tree_id, coat.dipped_at, end, now, _COAT.dump_python(coat, mode="json"))
        for coat, end in zip(verdict.coats, ends, strict=False)
        if known.get((tree_id, coat.dipped_at)) != end
    ]


def coat_of(kept: KeptCoat) -> CoatVerdict:
    """A kept coat as the judge told it."""
    return _COAT.validate_python(kept.verdict)


def forecast_of(verdict: TreeVerdict) -> DipForecast | None:
    """The forecast of a tree's newest coat, where it is one of just after the dip; None where it is not."""
    outlook = verdict.outlook
    if outlook.state != "drying" or outlook.dipped_at is None or not verdict.coats:
        return None
    coat = verdict.coats[-1]
    foreseen = any(spot.ahead for spot in verdict.spots)
    early = outlook.as_of - outlook.dipped_at <= AT_THE_DIP_MS
    if coat.dipped_at != outlook.dipped_at or coat.dip_id <= 0 or not foreseen or not early:
        return None
    return DipForecast(coat.dip_id, outlook.as_of, outlook.fit_at)
