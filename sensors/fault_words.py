"""Why a node is not believed, in a sentence that a person can act on."""

from dataclasses import dataclass

from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from sensors.faults import Fault


@dataclass(frozen=True)
class Beside:
    """What a node and the others say while a fault holds [°C, %RH]; None where it is not known."""

    temp_c: float | None
    rh_pct: float | None
    others_c: float | None
    others_pct: float | None


def fault_words(fault: Fault, beside: Beside, until: Millis) -> str:
    """The reason, as it follows the node's name. `until` [ms] is up to when it holds or is known to.

    >>> hour = 3_600_000
    >>> fault_words(Fault("n2", "stuck", 0, None), Beside(19.1, 47.3, 18.0, 55.0), 6 * hour)
    'has said exactly 19.1 °C and 47.3 %RH for 6 h while the air moved: start it again'
    >>> fault_words(Fault("n2", "disagreeing", 0, None), Beside(18.0, 71.0, 18.2, 50.0), hour)
    'says 18 °C and 71 %RH where the others say 18.2 °C and 50 %RH: calibrate it'
    """
    own, others = _figures(beside.temp_c, beside.rh_pct), _figures(beside.others_c, beside.others_pct)
    lasted = _length(until - fault.start)
    match fault.kind:
        case "out of range":
            return f"says {own}, which no shop has: a sensor that is broken or has come loose"
        case "saturated":
            humid = "" if beside.others_pct is None else f" while the others say {beside.others_pct:.0f} %RH"
            return f"has said 100 %RH for {lasted}{humid}: water on its sensor; dry it, clear of drips"
        case "stuck":
            return f"has said exactly {own} for {lasted} while the air moved: start it again"
        case "jumping":
            return "jumps there and back faster than air can: look for a loose wire"
        case "warmed":
            more = (beside.temp_c or 0.0) - (beside.others_c or 0.0)
            return f"is {more:.1f} K warmer than the others, with their moisture: sun, a heater, its own heat"
        case "disagreeing":
            return f"says {own} where the others say {others}: calibrate it"
        case "at odds":
            return (
                f"says {own} and {fault.beside} says {others}: which is right nobody can tell, so both count "
                "and verdicts are less sure; calibrate both, or hang a third beside them"
            )


def _figures(temp_c: float | None, rh_pct: float | None) -> str:
    said = [f"{temp_c:.3g} °C"] if temp_c is not None else []
    said += [f"{rh_pct:.3g} %RH"] if rh_pct is not None else []
    return " and ".join(said) or "nothing any more"


def _length(length: Millis) -> str:
    return f"{length / HOUR_MS:.0f} h" if length >= 2 * HOUR_MS else f"{max(length // MINUTE_MS, 1)} min"
