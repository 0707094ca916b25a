"""The shop: what was told so far, how to be told, and the cautions."""

from collections.abc import Mapping

from sensors.clock import MINUTE_MS
from server.believing import believed
from server.drying.warning_limits import BOUNDS
from server.pages import cautions
from server.pages.beliefs import changed_words
from server.pages.contexts import NoticeRow, RulesForm, ShopPage
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words
from server.parts import Parts
from server.shop_rules import (
    HIGHEST_GAP_MIN,
    LOWEST_GAP_MIN,
    gap_limit_said,
    set_gap_limit,
    set_rules,
    shop_rules,
)
from server.store import notices as notice_store
from server.store import subscriptions as subscription_store
from server.store.values import KeptNotice

NOTICES_SHOWN = 30

FIGURES = (
    ("cooling_k", "Wax that cools under a drying prime coat [K]"),
    ("warming_k", "Wax that warms inside a set coat, coats 1 to 3 [K]"),
    ("prewet_after_h", "A coat that has been dry for [h]"),
)
"""What of the warnings' limits a person sets here, with the words beside it."""


def shop_page(parts: Parts, fault: str = "") -> ShopPage:
    """The shop's page; `fault` is what was wrong with the rules that were just said."""
    shop = shop_now(parts)
    phones = len(subscription_store.subscriptions(parts.engine))
    return ShopPage(
        frame=frame(parts, shop, "Shop", "shop"),
        notices=tuple(_notice(shop, one) for one in notice_store.notices(parts.engine, NOTICES_SHOWN)),
        phones=_phones_words(phones),
        push_key=parts.vapid_public_key,
        rules=_rules(parts, fault),
        beliefs=changed_words(believed(parts.engine)),
        cautions=cautions.SHOP,
    )


def keep_rules(
    parts: Parts, closes_at: str, gap_limit_min: int, limits: Mapping[str, float]
) -> ShopPage | None:
    """Set when the shop is warned; the page with what was wrong where it cannot be so."""
    try:
        gap_limit_said(gap_limit_min)
        set_rules(parts.engine, closes_at, limits)
        set_gap_limit(parts.engine, gap_limit_min)
    except ValueError as fault:
        return shop_page(parts, str(fault))
    return None


def _rules(parts: Parts, fault: str) -> RulesForm:
    rules = shop_rules(parts.engine)
    figures = tuple(
        (name, words, f"{getattr(rules.limits, name):g}", f"{BOUNDS[name][0]:g}", f"{BOUNDS[name][1]:g}")
        for name, words in FIGURES
    )
    gap = f"{rules.gap_limit // MINUTE_MS}", f"{LOWEST_GAP_MIN}", f"{HIGHEST_GAP_MIN}"
    return RulesForm(fault, f"{rules.closes:%H:%M}", gap, figures)


def _notice(shop: Shop, notice: KeptNotice) -> NoticeRow:
    return NoticeRow(
        notice.title, notice.body, clock_words(notice.at, shop.now, shop.zone), delivery_words(notice)
    )


def delivery_words(notice: KeptNotice) -> str:
    """What became of a notice.

    >>> delivery_words(KeptNotice(1, "k", "fit", 1, "t", "b", 0, sent=1, waiting=2, failed=0))
    'sent to 1 phone, waiting for 2'
    >>> delivery_words(KeptNotice(1, "k", "fit", 1, "t", "b", 0, sent=0, waiting=0, failed=0))
    'told here only: no phone had asked'
    """
    parts = []
    if notice.sent:
        parts.append(f"sent to {notice.sent} phone{'' if notice.sent == 1 else 's'}")
    if notice.waiting:
        parts.append(f"waiting for {notice.waiting}")
    if notice.failed:
        reason = f" ({notice.last_error})" if notice.last_error else ""
        parts.append(f"not sent to {notice.failed}{reason}")
    return ", ".join(parts) or "told here only: no phone had asked"


def _phones_words(count: int) -> str:
    if not count:
        return "No phone has asked to be told yet."
    return "1 phone is told." if count == 1 else f"{count} phones are told."
