"""The shop: what was told so far, how to be told, and the cautions."""

from dataclasses import dataclass

from server.believing import believed
from server.pages import cautions
from server.pages.beliefs import changed_words
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.told_phone import ToldPhones, told_phones
from server.pages.told_words import delivery_words
from server.pages.wording import clock_words
from server.parts import Parts
from server.store import notices as notice_store
from server.store.values import KeptNotice

NOTICES_SHOWN = 30


@dataclass(frozen=True)
class NoticeRow:
    """A notice that was told, and what became of it."""

    title: str
    body: str
    when: str
    delivery: str


@dataclass(frozen=True)
class ShopPage:
    """What the shop was told so far, how to be told, and the cautions."""

    frame: Frame
    notices: tuple[NoticeRow, ...]
    on_phones: ToldPhones
    beliefs: str
    cautions: tuple[str, ...]


def shop_page(parts: Parts) -> ShopPage:
    """The shop's page."""
    shop = shop_now(parts)
    return ShopPage(
        frame=frame(parts, shop, "Shop", "shop"),
        notices=tuple(_notice(shop, one) for one in notice_store.notices(parts.engine, NOTICES_SHOWN)),
        on_phones=told_phones(parts, shop),
        beliefs=changed_words(believed(parts.engine)),
        cautions=cautions.SHOP,
    )


def _notice(shop: Shop, notice: KeptNotice) -> NoticeRow:
    return NoticeRow(
        notice.title,
        shop.units.said(notice.body),
        clock_words(notice.at, shop.now, shop.zone),
        delivery_words(notice),
    )
