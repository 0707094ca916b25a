"""The way to pour day: when each tree can be burnt out, how late it may be dipped, and a picture of it."""

from dataclasses import dataclass, replace
from datetime import datetime

from markupsafe import Markup

from scheduler.pour_day import NEVER
from sensors.clock import SECOND_MS, Millis
from server.pages.buying_time import TimePart, time_part
from server.pages.contexts import Frame
from server.pages.fortnight import fortnight_svg
from server.pages.frame import Shop, frame, shop_now
from server.pages.next_dips import rough_words
from server.pages.wording import clock_words, sentence
from server.parts import Parts
from server.planning import TreeAhead

CAUTIONS = (
    "This is a reckoning of dryness alone. Go through each tree’s burnout check before it goes in: a damp "
    "shell makes steam and bursts. Furnace, wax fumes and metal: local codes, the makers’ sheets and trained "
    "practice come first.",
)


@dataclass(frozen=True)
class WayRow:
    """One tree on its way. `buy`: where what would buy time is asked; `bought`: the answer, once it was."""

    tree_id: int
    label: str
    to_go: str
    earliest: str
    next_by: str
    verdict: str
    buy: str
    bought: TimePart | None


@dataclass(frozen=True)
class PourDayPage:
    """The page; `fault` is what was wrong with the day that was just said."""

    frame: Frame
    fault: str
    set_for: str
    day: str
    hour: str
    rows: tuple[WayRow, ...]
    blocked: str
    rough: str
    picture: Markup
    cautions: tuple[str, ...]


def pour_day_page(parts: Parts, fault: str = "", buy: int | None = None) -> PourDayPage:
    """The page as of now, with what would buy time on the tree `buy`, where that is late."""
    shop = shop_now(parts)
    plan = parts.plan_desk.plan(parts.engine, parts.rack, parts.clock)
    at = plan.pour_at
    local = None if at is None else datetime.fromtimestamp(at / SECOND_MS, shop.zone)
    return PourDayPage(
        frame=frame(parts, shop, "Pour day", "next"),
        fault=sentence(fault),
        set_for="" if at is None else _day_words(at, shop),
        day="" if local is None else f"{local:%Y-%m-%d}",
        hour="08:00" if local is None else f"{local:%H:%M}",
        rows=tuple(_with_time(parts, _row(one, at, shop), one, buy) for one in plan.trees),
        blocked=f"Not reckoned, for nobody can tell when they are fit: {', '.join(plan.blocked)}."
        if plan.blocked
        else "",
        rough=rough_words(plan),
        picture=fortnight_svg(plan.trees, plan.made_at, at, shop.zone) if plan.trees else Markup(""),
        cautions=CAUTIONS,
    )


def _row(one: TreeAhead, at: Millis | None, shop: Shop) -> WayRow:
    count = len(one.coats)
    to_go = "all coats on" if not count else "1 coat to go" if count == 1 else f"{count} coats to go"
    _, middle, late = one.burnout
    if not one.coats and middle <= shop.now:
        earliest = "Dry through and rested, by its air record: go through its burnout check."
    elif middle == NEVER:
        earliest = "Not in sight within the hours of work that are set."
    elif _day_words(late, shop) == _day_words(middle, shop):
        earliest = f"Burnout from about {_day_words(middle, shop)}."
    else:
        earliest = f"Burnout from about {_day_words(middle, shop)}; nine in ten by {_day_words(late, shop)}."
    next_by, verdict, behind = "", "", False
    if at is not None:
        behind = late > at
        verdict = (
            "Not by then, as it stands." if middle > at else "It may not make it." if behind else "In time."
        )
        if one.latest:
            next_by = _by_words(one, shop)
    ask = f"/next/pour?buy={one.tree.id}#tree-{one.tree.id}" if behind else ""
    return WayRow(one.tree.id, one.tree.label, to_go, earliest, next_by, verdict, ask, None)


def _with_time(parts: Parts, row: WayRow, one: TreeAhead, buy: int | None) -> WayRow:
    if not row.buy or row.tree_id != buy:
        return row
    return replace(row, buy="", bought=time_part(parts, one))


def _by_words(one: TreeAhead, shop: Shop) -> str:
    latest = one.latest[0]
    coat = one.on + 1
    if latest.half is None or latest.half < shop.now:
        return f"Coat {coat} would have had to be on already."
    half = clock_words(latest.half, shop.now, shop.zone)
    if latest.nine_in_ten is None or latest.nine_in_ten < shop.now:
        return f"Coat {coat} by {half} makes it in one case of two; nothing makes it in nine of ten."
    sure = clock_words(latest.nine_in_ten, shop.now, shop.zone)
    last = one.latest[-1].nine_in_ten
    end = (
        ""
        if last is None or len(one.latest) == 1
        else f" The last coat by {clock_words(last, shop.now, shop.zone)}."
    )
    if sure == half:
        return f"Coat {coat} by {sure}.{end}"
    return f"Coat {coat} by {sure} (one case of two: {half}).{end}"


def _day_words(moment: Millis, shop: Shop) -> str:
    if moment == NEVER:
        return "no day in sight"
    local = datetime.fromtimestamp(moment / SECOND_MS, shop.zone)
    return (
        f"{local:%a} {local.day} {local:%b, %H}:00"
        if local.minute < 30
        else f"{local:%a} {local.day} {local:%b, %H}:30"
    )
