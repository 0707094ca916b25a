"""What the shop is called and which zone it lives in, from its settings; and the frame that every page
stands in."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from sensors.clock import Millis
from server.pages.contexts import Frame, Here
from server.pages.wording import shop_time_words
from server.parts import Parts
from server.settings_table import NAME_SETTING, USUAL_NAME
from server.shop_hours import ZONE_SETTING, zone_of
from server.store import shop as shop_store
from server.units import Units, units_of


@dataclass(frozen=True)
class Shop:
    """The shop as a page needs it: its name, its zone, its time now [ms], and the units of its people."""

    name: str
    zone: ZoneInfo
    now: Millis
    units: Units


def shop_now(parts: Parts) -> Shop:
    """The shop at this moment. A zone that is not known is shown as UTC."""
    name = shop_store.setting(parts.engine, NAME_SETTING)
    return Shop(
        name if isinstance(name, str) and name else USUAL_NAME,
        zone_of(shop_store.setting(parts.engine, ZONE_SETTING)),
        parts.clock.now(),
        units_of(parts.engine),
    )


def frame(parts: Parts, shop: Shop, title: str, here: Here = "") -> Frame:
    """The frame of a page."""
    shop_time = shop_time_words(shop.now, shop.zone)
    not_kept = parts.not_kept()
    trouble = f"What the nodes say is not being kept: {not_kept}" if not_kept else ""
    return Frame(title, shop.name, here, shop_time, shop.now, parts.clock.rate, trouble)
