"""What the shop has set for its warnings: their limits, when it closes, and its zone."""

import logging
from dataclasses import dataclass, field, replace
from datetime import time
from zoneinfo import ZoneInfo

from sensors.clock import MINUTE_MS, Millis
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimitError, WarningLimits, limits_said
from server.shop_hours import CLOSES_SETTING, USUAL_CLOSING, ZONE_SETTING, closing_of, zone_of
from server.store import shop
from server.store.engine import Engine

LIMITS_SETTING = "warning_limits"
"""Key of the shop's setting for its own limits: names as `limits_said` takes them, with their figures."""

GAP_SETTING = "gap_limit_minutes"
"""Key of the shop's setting for how long the air may be unknown before a tree is unsure [min]."""

USUAL_GAP_MIN = 120
LOWEST_GAP_MIN, HIGHEST_GAP_MIN = 30, 720

log = logging.getLogger("slowcorner.rack")


@dataclass(frozen=True)
class ShopRules:
    """The rules as they hold."""

    limits: WarningLimits = DEFAULT_LIMITS
    closes: time = USUAL_CLOSING
    gap_limit: Millis = USUAL_GAP_MIN * MINUTE_MS
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))


def shop_rules(engine: Engine) -> ShopRules:
    """The rules as they are set; a setting that cannot be is told in the log, and the usual one holds."""
    rules = ShopRules(zone=zone_of(shop.setting(engine, ZONE_SETTING)))
    try:
        rules = replace(rules, limits=limits_said(shop.setting(engine, LIMITS_SETTING)))
    except (WarningLimitError, AttributeError) as error:
        log.warning("setting %s is left out: %s", LIMITS_SETTING, error)
    try:
        rules = replace(rules, closes=closing_of(shop.setting(engine, CLOSES_SETTING)))
    except ValueError as error:
        log.warning("setting %s is left out: %s", CLOSES_SETTING, error)
    try:
        rules = replace(rules, gap_limit=gap_limit_said(shop.setting(engine, GAP_SETTING)))
    except ValueError as error:
        log.warning("setting %s is left out: %s", GAP_SETTING, error)
    return rules


def gap_limit_said(minutes: object) -> Millis:
    """How long the air may be unknown [ms], from the setting in whole minutes; None is the usual two hours.

    Raises ValueError naming the value and the limits.

    >>> gap_limit_said(None), gap_limit_said(30)
    (7200000, 1800000)
    """
    if minutes is None:
        return USUAL_GAP_MIN * MINUTE_MS
    if type(minutes) is not int or not LOWEST_GAP_MIN <= minutes <= HIGHEST_GAP_MIN:
        raise ValueError(
            f"gap limit {minutes!r} is not a whole number of minutes "
            f"from {LOWEST_GAP_MIN} to {HIGHEST_GAP_MIN}"
        )
    return minutes * MINUTE_MS
