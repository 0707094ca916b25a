"""When a whole shell counts as dry through: how little water it may hold, and how long it then rests."""

from server.drying.materials import DRY_THROUGH_LIMIT
from server.shop_setting import within
from server.store import shop
from server.store.engine import Engine

DRY_SETTING = "dry_limit_pct"
"""Key of the shop's setting for the water a shell that is dry through may hold [% of its dry mass]."""

REST_SETTING = "rest_hours"
"""Key of the shop's setting for how long a shell rests, dry and in fit air, before it is dry through [h]."""

USUAL_DRY_PCT, LEAST_DRY_PCT, MOST_DRY_PCT = 100.0 * DRY_THROUGH_LIMIT, 0.1, 2.0
USUAL_REST_H, SHORTEST_REST_H, LONGEST_REST_H = 24.0, 1.0, 336.0


def dry_limit_of(engine: Engine) -> float:
    """Water over dry mass below which a shell is dry through [-], the usual one where that cannot be."""
    return within(shop.setting(engine, DRY_SETTING), LEAST_DRY_PCT, MOST_DRY_PCT, USUAL_DRY_PCT) / 100.0


def rest_hours_of(engine: Engine) -> float:
    """How long trees that are hung from now on rest [h]; the usual time for a setting that cannot be."""
    return within(shop.setting(engine, REST_SETTING), SHORTEST_REST_H, LONGEST_REST_H, USUAL_REST_H)
