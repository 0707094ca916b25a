"""Everything that a shop can set: each with what it does in one sentence, its range and what is usual.

A setting that is not in `SETTINGS` does not exist for a person; a test holds every key that the program reads
to this table. Where another page is the better place to set one, `set_on` says which.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from server.believing import LEAST_CONFIDENCE, MOST_CONFIDENCE
from server.drying.drawing import MOST_MEMBERS, SEED, default_count
from server.drying.ensemble import CONFIDENCE
from server.drying.warning_limits import BOUNDS, DEFAULT_LIMITS, limits_said
from server.shop_hours import CLOSES_SETTING, USUAL_CLOSING, ZONE_SETTING
from server.shop_rules import GAP_SETTING, HIGHEST_GAP_MIN, LIMITS_SETTING, LOWEST_GAP_MIN, USUAL_GAP_MIN
from server.store import shop
from server.store.engine import Engine

Kind = Literal["text", "zone", "number", "whole", "time", "choice"]

NAME_SETTING = "shop_name"
"""Key of the shop's setting for its name."""

ALTITUDE_SETTING = "altitude_m"
"""Key of the shop's setting for how high above the sea it stands [m]."""

TEMPERATURE_UNIT, LENGTH_UNIT, MASS_UNIT = "temperature_unit", "length_unit", "mass_unit"
"""Keys of the shop's settings for the units a person reads and types; inside all is SI."""

USUAL_NAME = "Slowcorner"
LONGEST_NAME = 60
LOWEST_ALTITUDE_M, HIGHEST_ALTITUDE_M = -400.0, 5000.0


class SettingError(ValueError):
    """What was said cannot be: the message names the setting, the value and the limits."""


@dataclass(frozen=True)
class Setting:
    """One setting: its key, its group on the page, its name, and what it does in one sentence.

    `usual` is what holds where nothing was said; `least` and `most` are there for numbers; `choices` are
    pairs of a value and its words; `unit` is what a number is in. `set_on` is the page where it is set, ""
    for the page of settings itself.
    """

    key: str
    group: str
    name: str
    does: str
    kind: Kind
    usual: str
    unit: str = ""
    least: float | None = None
    most: float | None = None
    choices: tuple[tuple[str, str], ...] = ()
    set_on: str = ""

    @property
    def limits(self) -> str:
        """Its range in words."""
        if self.least is not None and self.most is not None:
            return f"{self.least:g} to {self.most:g} {self.unit}".strip()
        match self.kind:
            case "choice":
                return " or ".join(words for _, words in self.choices)
            case "time":
                return "00:00 to 23:59"
            case "zone":
                return "a name of the time zone database, like Europe/Helsinki"
            case _:
                return f"up to {LONGEST_NAME} signs"


_WARNED: tuple[tuple[str, str, str, str], ...] = (
    (
        "cooling_k",
        "Wax that cools under a prime coat",
        "K",
        "Warns from this fall of the wax under a drying prime coat on.",
    ),
    (
        "warming_k",
        "Wax that warms inside a set coat",
        "K",
        "Warns from this rise of the wax inside coats 1 to 3 on.",
    ),
    (
        "prewet_after_h",
        "A coat that has been dry for",
        "h",
        "Asks for pre-wetting before a dip on a coat that has been fit for so long.",
    ),
    *(
        (
            f"{coat}.{part}",
            f"{coat.capitalize()} coat: {words}",
            unit,
            f"Warns where the air a {coat} coat dries in is {beyond}.",
        )
        for coat in ("prime", "backup")
        for part, words, unit, beyond in (
            ("low_c", "coldest air", "°C", "colder"),
            ("high_c", "warmest air", "°C", "warmer"),
            ("rh_low_pct", "driest air", "%RH", "drier"),
            ("rh_high_pct", "dampest air", "%RH", "damper"),
            ("fastest_m_s", "fastest air", "m/s", "faster"),
        )
    ),
)


def _usual_limit(name: str) -> float:
    whole, _, part = name.partition(".")
    found = getattr(DEFAULT_LIMITS, whole)
    return float(getattr(found, part) if part else found)


_LIMITS = tuple(
    Setting(
        f"{LIMITS_SETTING}.{name}",
        "Warnings",
        words,
        does,
        "number",
        f"{_usual_limit(name):g}",
        unit,
        *BOUNDS[name.rpartition(".")[2]],
    )
    for name, words, unit, does in _WARNED
)

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
        "In thin air vapour gets away faster; changing it judges every tree anew.",
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
    *_LIMITS,
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

KEPT_BY_ITSELF = frozenset({"clock", "drawn_members", "weather_begins", "advice", "mqtt_client_id"})
"""Keys in the same table that no person sets: where the clock stands, what was reckoned or drawn once."""


def said_now(engine: Engine) -> dict[str, str]:
    """Each setting of `HERE` as it holds, as it would be typed."""
    return {setting.key: _typed(setting, _kept(engine, setting.key)) for setting in HERE}


def keep_settings(engine: Engine, said: Mapping[str, str]) -> None:
    """Set what was typed, all of it or, where something cannot be, none. What is empty becomes as usual.

    Raises SettingError.
    """
    known = {setting.key: setting for setting in HERE}
    for key in said:
        if key not in known:
            raise SettingError(f"setting {key!r} is not one of {', '.join(known)}")
    meant = {key: meaning(known[key], text) for key, text in said.items()}
    limits = _limits_with(shop.setting(engine, LIMITS_SETTING), meant)
    for key, value in meant.items():
        if not key.startswith(f"{LIMITS_SETTING}."):
            shop.set_setting(engine, key, value)
    if limits is not None:
        shop.set_setting(engine, LIMITS_SETTING, limits)


def meaning(setting: Setting, text: str) -> Any:
    """What was typed, as it is kept; None for what is usual. Raises SettingError.

    >>> gap = next(one for one in SETTINGS if one.key == GAP_SETTING)
    >>> meaning(gap, " 90 "), meaning(gap, "")
    (90, None)
    >>> meaning(gap, "5")
    Traceback (most recent call last):
    ...
    server.shop_settings.SettingError: Unsure after so long without air: 5 is outside 30 to 720 min
    """
    text = text.strip()
    if not text:
        return None
    match setting.kind:
        case "number" | "whole":
            return _number(setting, text)
        case "choice":
            if text not in dict(setting.choices):
                raise SettingError(f"{setting.name}: {text[:LONGEST_NAME]!r} is not {setting.limits}")
        case "zone":
            if text not in available_timezones():
                raise SettingError(f"{setting.name}: {text[:LONGEST_NAME]!r} is not {setting.limits}")
            ZoneInfo(text)
        case "time":
            try:
                return datetime.strptime(text, "%H:%M").strftime("%H:%M")  # noqa: DTZ007 - a time of day
            except ValueError:
                raise SettingError(
                    f"{setting.name}: {text[:LONGEST_NAME]!r} is not a time of day from 00:00 to 23:59"
                ) from None
        case _:
            if len(text) > LONGEST_NAME or not text.isprintable():
                raise SettingError(
                    f"{setting.name}: {len(text)} signs; it takes up to {LONGEST_NAME} that can be printed"
                )
    return text


def _number(setting: Setting, text: str) -> float | int:
    try:
        value = float(text.replace(",", ".")) if setting.kind == "number" else int(text)
    except ValueError:
        what = "number" if setting.kind == "number" else "whole number"
        raise SettingError(f"{setting.name}: {text[:LONGEST_NAME]!r} is not a {what}") from None
    if setting.least is None or setting.most is None or not setting.least <= value <= setting.most:
        raise SettingError(f"{setting.name}: {value:g} is outside {setting.limits}")
    return value


def _limits_with(kept: Any, meant: Mapping[str, Any]) -> dict[str, float] | None:
    """The warning limits with what is meant now; None where none of them was said."""
    start = f"{LIMITS_SETTING}."
    said = {key.removeprefix(start): value for key, value in meant.items() if key.startswith(start)}
    if not said:
        return None
    limits = {**(kept if isinstance(kept, dict) else {}), **said}
    limits = {name: value for name, value in limits.items() if value is not None}
    try:
        limits_said(limits)
    except ValueError as error:
        raise SettingError(str(error)) from None
    return limits


def _kept(engine: Engine, key: str) -> Any:
    whole, dot, part = key.partition(".")
    kept = shop.setting(engine, whole)
    return (kept.get(part) if isinstance(kept, dict) else None) if dot else kept


def _typed(setting: Setting, kept: Any) -> str:
    """A setting that is kept, as text; what is usual where there is none or it cannot be."""
    if kept is None:
        return setting.usual
    text = f"{kept:g}" if isinstance(kept, float) else str(kept)
    try:
        meaning(setting, text)
    except SettingError:
        return setting.usual
    return text
