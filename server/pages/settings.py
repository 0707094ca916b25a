"""The settings of the shop: each with what it does, its range and what is usual; and its places."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.dry_rules import dry_limit_of
from server.measuring_desk import learn_anew
from server.pages.contexts import Frame
from server.pages.frame import frame, shop_now
from server.pages.wording import sentence
from server.parts import Parts
from server.settings_table import HERE, SETTINGS
from server.shop_height import pressure_of
from server.shop_instruments import instruments_of
from server.shop_setting import Setting
from server.shop_settings import SettingError, keep_settings, said_now
from server.store import places as place_store
from server.store import trees as tree_store
from server.store.engine import UnknownError
from server.zones import zone_names

SLOWEST_M_S, FASTEST_M_S = 0.01, 20.0


@dataclass(frozen=True)
class SettingLine:
    """One setting. `hint` says what it does, its range and what is usual; `field` is the type of its field,
    `choices` are (value, words, whether it is chosen)."""

    key: str
    name: str
    hint: str
    field: str
    value: str
    unit: str
    choices: tuple[tuple[str, str, bool], ...]


@dataclass(frozen=True)
class SettingGroup:
    """Settings that belong together; `elsewhere` are (page, name, what it does) of those with a page of
    their own."""

    name: str
    lines: tuple[SettingLine, ...]
    elsewhere: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class PlaceLine:
    """A place and how fast the air goes at its rack."""

    id: str
    name: str
    speed_m_s: str


@dataclass(frozen=True)
class SettingsPage:
    """All of it. `fault` is what was wrong with what was just said."""

    frame: Frame
    fault: str
    groups: tuple[SettingGroup, ...]
    zones: tuple[str, ...]
    places: tuple[PlaceLine, ...]
    speed_limits: str


def settings_page(parts: Parts, fault: str = "", typed: Mapping[str, str] | None = None) -> SettingsPage:
    """The page; what was `typed` stays where it could not be set."""
    shop = shop_now(parts)
    values = {**said_now(parts.engine), **(typed or {})}
    names = dict.fromkeys(setting.group for setting in SETTINGS)
    return SettingsPage(
        frame=frame(parts, shop, "Settings", "shop"),
        fault=sentence(fault),
        groups=tuple(_group(name, values) for name in names),
        zones=zone_names(),
        places=tuple(
            PlaceLine(place.id, place.name, f"{place.speed_m_s:g}")
            for place in place_store.places(parts.engine)
        ),
        speed_limits=f"{SLOWEST_M_S:g} to {FASTEST_M_S:g} m/s",
    )


def set_settings(parts: Parts, said: Mapping[str, str]) -> SettingsPage | None:
    """Set what was typed; the page with what was wrong where something cannot be."""
    judged_by, by = (pressure_of(parts.engine), dry_limit_of(parts.engine)), instruments_of(parts.engine)
    try:
        keep_settings(parts.engine, said)
    except SettingError as fault:
        return settings_page(parts, str(fault), said)
    if (pressure_of(parts.engine), dry_limit_of(parts.engine)) != judged_by:
        parts.rack.believe_anew()
    if instruments_of(parts.engine) != by:
        learn_anew(parts)
    return None


def set_place(parts: Parts, place: str, speed_m_s: float) -> SettingsPage | None:
    """Say how fast the air goes at a place's rack; the page with what was wrong where it cannot be so."""
    try:
        place_store.set_speed(parts.engine, place, speed_m_s)
    except UnknownError as fault:
        return settings_page(parts, str(fault))
    for tree in tree_store.rack(parts.engine):
        if tree.place == place:
            parts.rack.refresh(tree.id)
    return None


def _group(name: str, values: Mapping[str, str]) -> SettingGroup:
    return SettingGroup(
        name,
        tuple(_line(setting, values[setting.key]) for setting in HERE if setting.group == name),
        tuple(
            (setting.set_on, setting.name, setting.does)
            for setting in SETTINGS
            if setting.group == name and setting.set_on
        ),
    )


def _line(setting: Setting, value: str) -> SettingLine:
    field = {"number": "text", "whole": "text", "zone": "zone", "time": "time"}.get(
        setting.kind, setting.kind
    )
    choices = tuple((code, words, code == value) for code, words in setting.choices)
    usual = f"{dict(setting.choices).get(setting.usual, setting.usual)} {setting.unit}".strip()
    # "mm or in" stays as it is, "a name of" and "up to" begin a sentence.
    limits = setting.limits if choices else setting.limits[:1].upper() + setting.limits[1:]
    return SettingLine(
        setting.key,
        setting.name,
        f"{setting.does} {limits}; usual: {usual}.",
        field,
        value,
        setting.unit,
        choices,
    )
