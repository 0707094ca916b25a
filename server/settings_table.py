"""Everything that a shop can set: each with what it does in one sentence, its range and what is usual.

A setting that is not in `SETTINGS` does not exist for a person; a test holds every key that the program reads
to this table. Where another page is the better place to set one, `set_on` says which.
"""

from scheduler.telling import MOST_GATHER_MIN, USUAL_GATHER_MIN
from server.believing import LEAST_CONFIDENCE, MOST_CONFIDENCE
from server.dry_rules import (
    DRY_SETTING,
    LEAST_DRY_PCT,
    LONGEST_REST_H,
    MOST_DRY_PCT,
    REST_SETTING,
    SHORTEST_REST_H,
    USUAL_DRY_PCT,
    USUAL_REST_H,
)
from server.drying.drawing import MOST_MEMBERS, SEED, default_count
from server.drying.ensemble import CONFIDENCE
from server.drying.instruments import USUAL_SCALE_G
from server.drying.surface_temp import ERROR_K
from server.shop_height import ALTITUDE_SETTING, HIGHEST_ALTITUDE_M, LOWEST_ALTITUDE_M
from server.shop_hours import CLOSES_SETTING, USUAL_CLOSING, ZONE_SETTING
from server.shop_instruments import (
    COARSEST_K,
    COARSEST_SCALE_G,
    FINEST_K,
    FINEST_SCALE_G,
    SCALE_SETTING,
    THERMOMETER_SETTING,
)
from server.shop_rules import GAP_SETTING, HIGHEST_GAP_MIN, LOWEST_GAP_MIN, USUAL_GAP_MIN
from server.shop_setting import Setting
from server.telling import (
    CALIBRATION_SETTING,
    CAUSES_SETTING,
    GATHER_SETTING,
    LEAST_CALIBRATION_DAYS,
    MOST_CALIBRATION_DAYS,
    QUIET_SETTING,
    USUAL_CALIBRATION_DAYS,
)
from server.warning_settings import WARNING_SETTINGS
from server.work_hours import HOURS_SETTING

TOLD_PAGE = "/shop/told"

NAME_SETTING = "shop_name"
"""Key of the shop's setting for its name."""

TEMPERATURE_UNIT, LENGTH_UNIT, MASS_UNIT = "temperature_unit", "length_unit", "mass_unit"
"""Keys of the shop's settings for the units a person reads and types; inside all is SI."""

USUAL_NAME = "Slowcorner"

SETTINGS: tuple[Setting, ...] = (
    Setting(
        NAME_SETTING,
        "The shop",
        "Name of the shop",
        "Stands at the foot of every page and on notices.",
        "text",
        USUAL_NAME,
    ),
    Setting(
        ZONE_SETTING,
        "The shop",
        "Time zone",
        "All times on the pages and on notices are read in it.",
        "zone",
        "UTC",
    ),
    Setting(
        ALTITUDE_SETTING,
        "The shop",
        "Height above the sea",
        "Thin air passes vapour better and carries less heat; a change judges every tree anew.",
        "number",
        "0",
        "m",
        LOWEST_ALTITUDE_M,
        HIGHEST_ALTITUDE_M,
    ),
    Setting(
        TEMPERATURE_UNIT,
        "Units",
        "Temperatures in",
        "The unit in which temperatures are shown and typed.",
        "choice",
        "C",
        choices=(("C", "°C"), ("F", "°F")),
    ),
    Setting(
        LENGTH_UNIT,
        "Units",
        "Lengths in",
        "The unit in which lengths are shown and typed.",
        "choice",
        "mm",
        choices=(("mm", "mm"), ("in", "in")),
    ),
    Setting(
        MASS_UNIT,
        "Units",
        "Weights in",
        "The unit in which weighings are shown and typed.",
        "choice",
        "kg",
        choices=(("kg", "kg"), ("lb", "lb")),
    ),
    Setting(
        CLOSES_SETTING,
        "Hours",
        "The shop closes at",
        "From three hours before, the night is foreseen with last night’s air.",
        "time",
        f"{USUAL_CLOSING:%H:%M}",
    ),
    Setting(
        HOURS_SETTING,
        "Hours",
        "Hours of work",
        "Dips are planned from opening to closing on the days of work.",
        "text",
        "08:00 to closing, every day",
        set_on="/next",
    ),
    Setting(
        GAP_SETTING,
        "Air",
        "Unsure after so long without air",
        "Past it a tree is unsure until air is known again.",
        "whole",
        f"{USUAL_GAP_MIN}",
        "min",
        LOWEST_GAP_MIN,
        HIGHEST_GAP_MIN,
    ),
    Setting(
        SCALE_SETTING,
        "Measuring",
        "The scale reads to",
        "The finer it reads, the more a weighing of a small tree tells. After a change places learn anew.",
        "number",
        f"{USUAL_SCALE_G:g}",
        "g",
        FINEST_SCALE_G,
        COARSEST_SCALE_G,
    ),
    Setting(
        THERMOMETER_SETTING,
        "Measuring",
        "Two readings of the thermometer agree to",
        "For surfaces read against a dry shell; its data sheet calls it repeatability.",
        "number",
        f"{ERROR_K:g}",
        "K",
        FINEST_K,
        COARSEST_K,
    ),
    *WARNING_SETTINGS,
    Setting(
        DRY_SETTING,
        "Dry through",
        "Water in a shell that is dry through",
        "Above what it holds in air of 60 %RH, over its dry mass; a change judges every tree anew.",
        "number",
        f"{USUAL_DRY_PCT:g}",
        "%",
        LEAST_DRY_PCT,
        MOST_DRY_PCT,
    ),
    Setting(
        REST_SETTING,
        "Dry through",
        "Rest after the last coat",
        "Counted while the shell is dry and the air fit; for trees that are hung from now on.",
        "number",
        f"{USUAL_REST_H:g}",
        "h",
        SHORTEST_REST_H,
        LONGEST_REST_H,
    ),
    Setting(
        QUIET_SETTING,
        "Being told",
        "Quiet hours",
        "Nothing is told in them; one summary is when they end.",
        "text",
        "21:00 to 07:00",
        set_on=TOLD_PAGE,
    ),
    Setting(
        CAUSES_SETTING,
        "Being told",
        "What is told",
        "Each cause of a notice is told or kept to the pages.",
        "text",
        "as the page says",
        set_on=TOLD_PAGE,
    ),
    Setting(
        GATHER_SETTING,
        "Being told",
        "Told together",
        "Trees that come fit within so long make one notice.",
        "whole",
        f"{USUAL_GATHER_MIN}",
        "min",
        0,
        MOST_GATHER_MIN,
        set_on=TOLD_PAGE,
    ),
    Setting(
        CALIBRATION_SETTING,
        "Being told",
        "A calibration is due after",
        "A node whose humidity was not checked for so long is told of once.",
        "whole",
        f"{USUAL_CALIBRATION_DAYS}",
        "days",
        LEAST_CALIBRATION_DAYS,
        MOST_CALIBRATION_DAYS,
        set_on=TOLD_PAGE,
    ),
    Setting(
        "confidence",
        "What is believed",
        "Fit when so many of the members say so",
        "Higher waits longer before a coat is called fit.",
        "number",
        f"{CONFIDENCE:g}",
        "",
        LEAST_CONFIDENCE,
        MOST_CONFIDENCE,
        set_on="/shop/beliefs",
    ),
    Setting(
        "members",
        "What is believed",
        "Members of the reckoning",
        "How many shops that yours could be are reckoned side by side.",
        "whole",
        f"{default_count()}",
        "",
        1,
        MOST_MEMBERS,
        set_on="/shop/beliefs",
    ),
    Setting(
        "ensemble_seed",
        "What is believed",
        "Seed of the draw",
        "The same seed draws the same members.",
        "whole",
        f"{SEED}",
        "",
        0,
        2**31,
        set_on="/shop/beliefs",
    ),
    Setting(
        "priors",
        "What is believed",
        "What is assumed of a shop before it is measured",
        "The spread each figure of the model is drawn from.",
        "text",
        "as the page says",
        set_on="/shop/beliefs",
    ),
)

HERE = tuple(setting for setting in SETTINGS if not setting.set_on)
"""What is set on the page of settings itself."""

KEPT_BY_ITSELF = frozenset(
    {"plan_shown", "plan_next", "clock", "drawn_members", "weather_begins", "advice", "mqtt_client_id"}
)
"""Keys in the same table that no person sets: where the clock stands, what was reckoned or drawn once."""
