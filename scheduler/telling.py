"""How the shop wants to be told, as it holds at the moment."""

from dataclasses import dataclass, field
from datetime import time
from zoneinfo import ZoneInfo

from scheduler.causes import USUAL
from scheduler.quiet import QuietHours
from sensors.clock import HOUR_MS, MINUTE_MS, Millis

USUAL_BEGIN, USUAL_END = time(21), time(7)
"""The quiet hours of a shop that has set none (assumed: nobody dips then)."""

USUAL_GATHER_MIN = 10
"""After a message, further notices of its kinds are gathered for so long [min of shop time] (assumed)."""

MOST_GATHER_MIN = 120

SOON_MS = 30 * MINUTE_MS
"""So long before a tree is expected to be fit it is fit soon [ms]."""

LAST_CALL_MS = 90 * MINUTE_MS
"""So long before closing the last call comes [ms]: time for a handful of dips (assumed)."""

_UTC = ZoneInfo("UTC")


@dataclass(frozen=True)
class Telling:
    """The rules. `prewet_after_ms` is how long a coat may be fit before it wants pre-wetting [ms].

    `closing` is when the shop closes next [ms], None where nobody says; `on` are the causes that are told.
    """

    zone: ZoneInfo = _UTC
    quiet: QuietHours = field(default_factory=lambda: QuietHours(USUAL_BEGIN, USUAL_END, _UTC))
    gather_ms: Millis = USUAL_GATHER_MIN * MINUTE_MS
    on: frozenset[str] = USUAL
    prewet_after_ms: Millis = 48 * HOUR_MS
    closing: Millis | None = None
