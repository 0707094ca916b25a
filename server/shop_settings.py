"""The shop's settings as they hold, set together or not at all."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from server.drying.warning_limits import limits_said
from server.settings_table import HERE
from server.shop_rules import LIMITS_SETTING
from server.shop_setting import LONGEST_NAME, Setting
from server.store import shop
from server.store.engine import Engine


class SettingError(ValueError):
    """What was said cannot be: the message names the setting, the value and the limits."""


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

    >>> gap = next(one for one in HERE if one.key == "gap_limit_minutes")
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
