"""How the shop wants to be told: quiet hours, what is told, how notices are gathered."""

import logging
from collections.abc import Iterable
from datetime import datetime, time
from typing import Any

from scheduler.causes import CAUSES
from scheduler.quiet import QuietHours
from scheduler.telling import MOST_GATHER_MIN, USUAL_BEGIN, USUAL_END, USUAL_GATHER_MIN, Telling
from sensors.clock import DAY_MS, HOUR_MS, MINUTE_MS, Millis
from server.shop_hours import next_closing
from server.shop_rules import ShopRules, shop_rules
from server.store import shop
from server.store.engine import Engine

QUIET_SETTING = "quiet_hours"
"""Key of the shop's setting for its quiet hours, by its own clock: ["21:00", "07:00"]."""

CAUSES_SETTING = "told_causes"
"""Key of the shop's setting for what is told: true or false by a cause's code, where it is not as usual."""

GATHER_SETTING = "gather_minutes"
"""Key of the shop's setting for how long notices are gathered after a message [min of shop time]."""

CALIBRATION_SETTING = "calibration_days"
"""Key of the shop's setting for how long a calibration holds before it is due again [days]."""

USUAL_CALIBRATION_DAYS = 365
LEAST_CALIBRATION_DAYS, MOST_CALIBRATION_DAYS = 30, 3650

SWITCHES = tuple(cause for cause in CAUSES if not cause.goes_with)
"""The causes that a person switches on and off; the others go with one of these."""

log = logging.getLogger("slowcorner.told")


class TellingError(ValueError):
    """A way of being told that cannot be: the message names the thing, the value and the limits."""


def telling(engine: Engine, now: Millis) -> Telling:
    """How the shop wants to be told at shop time `now` [ms]; for a setting that cannot be, the usual one."""
    return telling_by(engine, shop_rules(engine), now)


def telling_by(engine: Engine, rules: ShopRules, now: Millis) -> Telling:
    """As `telling`, by rules that were read already."""
    begins, ends = quiet_said(shop.setting(engine, QUIET_SETTING))
    return Telling(
        zone=rules.zone,
        quiet=QuietHours(begins, ends, rules.zone),
        gather_ms=gather_minutes(engine) * MINUTE_MS,
        on=causes_on(engine),
        prewet_after_ms=round(rules.limits.prewet_after_h * HOUR_MS),
        closing=next_closing(now, rules.closes, rules.zone),
    )


def causes_on(engine: Engine) -> frozenset[str]:
    """The codes of the causes that are told."""
    said = shop.setting(engine, CAUSES_SETTING)
    said = said if isinstance(said, dict) else {}
    on = {cause.code for cause in SWITCHES if said.get(cause.code, cause.usual) is True}
    return frozenset(on | {cause.code for cause in CAUSES if cause.goes_with in on})


def quiet_said(said: Any) -> tuple[time, time]:
    """From when to when it is quiet, from the setting."""
    if said is None:
        return USUAL_BEGIN, USUAL_END
    try:
        begins, ends = said
        return _clock("quiet from", begins), _clock("quiet until", ends)
    except (TypeError, ValueError) as error:
        log.warning("setting %s is left out: %s", QUIET_SETTING, error)
        return USUAL_BEGIN, USUAL_END


def gather_minutes(engine: Engine) -> int:
    """How long notices are gathered after a message [min of shop time]."""
    said = shop.setting(engine, GATHER_SETTING)
    return said if type(said) is int and 0 <= said <= MOST_GATHER_MIN else USUAL_GATHER_MIN


def calibration_ms(engine: Engine) -> Millis:
    """How long a calibration holds before it is due again [ms]."""
    said = shop.setting(engine, CALIBRATION_SETTING)
    if type(said) is int and LEAST_CALIBRATION_DAYS <= said <= MOST_CALIBRATION_DAYS:
        return said * DAY_MS
    return USUAL_CALIBRATION_DAYS * DAY_MS


def set_telling(
    engine: Engine,
    quiet_from: str | None = None,
    quiet_until: str | None = None,
    gather_min: int | None = None,
    calibration_days: int | None = None,
    on: Iterable[str] | None = None,
) -> None:
    """Set what is given; `on` are the codes of all causes that are to be told.

    Raises TellingError and changes nothing where one of them cannot be.
    """
    now_from, now_until = quiet_said(shop.setting(engine, QUIET_SETTING))
    begins = now_from if quiet_from is None else _clock("quiet from", quiet_from)
    ends = now_until if quiet_until is None else _clock("quiet until", quiet_until)
    _within("gathered for [min]", gather_min, 0, MOST_GATHER_MIN)
    _within("calibration due after [days]", calibration_days, LEAST_CALIBRATION_DAYS, MOST_CALIBRATION_DAYS)
    wanted = None if on is None else set(on)
    known = {cause.code for cause in SWITCHES}
    if wanted is not None and not wanted <= known:
        raise TellingError(
            f"cause {min(wanted - known)!r} is not one of {', '.join(cause.code for cause in SWITCHES)}"
        )
    shop.set_setting(engine, QUIET_SETTING, [f"{begins:%H:%M}", f"{ends:%H:%M}"])
    if gather_min is not None:
        shop.set_setting(engine, GATHER_SETTING, gather_min)
    if calibration_days is not None:
        shop.set_setting(engine, CALIBRATION_SETTING, calibration_days)
    if wanted is not None:
        changed = {
            cause.code: cause.code in wanted for cause in SWITCHES if (cause.code in wanted) != cause.usual
        }
        shop.set_setting(engine, CAUSES_SETTING, changed)


def _clock(what: str, said: object) -> time:
    try:
        return datetime.strptime(str(said).strip(), "%H:%M").time()  # noqa: DTZ007 - a time of day has no zone
    except ValueError:
        raise TellingError(f"{what} {str(said)[:20]!r} is not a time of day from 00:00 to 23:59") from None


def _within(what: str, value: int | None, least: int, most: int) -> None:
    if value is not None and not least <= value <= most:
        raise TellingError(f"{what} {value} is outside {least} to {most}")
