"""The next dips: one list in order, what is dipped last before leaving, what is said of the air."""

from dataclasses import dataclass

from scheduler.day_plan import PlannedDip
from sensors.air_forecast import BOUNDS, WordKind
from sensors.clock import HOUR_MS, MINUTE_MS
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import clock_words, coat_words, duration_words, sentence
from server.parts import Parts
from server.planning import ShopPlan
from server.store import places as place_store
from server.store import plans as plan_store
from server.store.plans import SaidWord
from server.work_hours import DAY_NAMES

NOW_MS = 5 * MINUTE_MS
"""A dip that begins within this is to be made now [ms]."""


@dataclass(frozen=True)
class DipRow:
    """One dip of the list; `again` is whether it is not the tree's first today."""

    tree_id: int
    label: str
    hook: str
    coat: str
    when: str
    why: str
    first: bool


@dataclass(frozen=True)
class WordRow:
    """Something said of the coming air."""

    id: int
    words: str


@dataclass(frozen=True)
class DayTick:
    """A day of the week in the form for the hours of work."""

    number: int
    name: str
    on: bool


@dataclass(frozen=True)
class PlaceChoice:
    """A place in the form for the coming air."""

    id: str
    name: str


@dataclass(frozen=True)
class NextDipsPage:
    """The page; `fault` is what was wrong with what was just said."""

    frame: Frame
    fault: str
    summary: str
    trouble: str
    rows: tuple[DipRow, ...]
    leaving: str
    left_out: str
    blocked: str
    rough: str
    pour: str
    said: tuple[WordRow, ...]
    places: tuple[PlaceChoice, ...]
    opens: str
    closes: str
    days: tuple[DayTick, ...]


def next_dips_page(parts: Parts, fault: str = "") -> NextDipsPage:
    """The page as of now."""
    shop = shop_now(parts)
    plan = parts.plan_desk.plan(parts.engine, parts.rack, parts.clock)
    places = place_store.places(parts.engine)
    names = {place.id: place.name for place in places}
    return NextDipsPage(
        frame=frame(parts, shop, "Next dips", "next"),
        fault=sentence(fault),
        summary=summary_words(plan, shop),
        trouble=plan.trouble,
        rows=tuple(_row(plan, shop, rank, dip) for rank, dip in enumerate(plan.day.dips)),
        leaving=leaving_words([dip.label for dip in plan.before_leaving]),
        left_out=_listed("No time for", plan.day.left_out),
        blocked=_listed("Not planned, for nobody can tell when they are fit:", plan.blocked),
        rough=rough_words(plan),
        pour=""
        if plan.pour_at is None
        else f"Burnout for the next pour begins {clock_words(plan.pour_at, shop.now, shop.zone)}.",
        said=tuple(_word(word, names, shop) for word in plan_store.words(parts.engine, shop.now)),
        places=tuple(PlaceChoice(place.id, place.name) for place in places),
        opens=f"{plan.hours.opens:%H:%M}",
        closes=f"{plan.hours.closes:%H:%M}",
        days=tuple(DayTick(n, name, n in plan.hours.days) for n, name in enumerate(DAY_NAMES)),
    )


def rough_words(plan: ShopPlan) -> str:
    """What is to be said while drying times are still being reckoned; nothing once they are."""
    if all(one.sure for one in plan.trees):
        return ""
    return "How long some coats will dry is still being reckoned; usual figures stand in. Look again soon."


def summary_words(plan: ShopPlan, shop: Shop) -> str:
    """How much there is to do, and until when."""
    if plan.window is None:
        return ""
    count = len(plan.day.dips)
    dips = "no dips" if not count else "1 dip" if count == 1 else f"{count} dips"
    opens, closes = plan.window
    until = f"until you close {clock_words(closes, shop.now, shop.zone)}"
    since = "" if opens - shop.now < MINUTE_MS else f"from {clock_words(opens, shop.now, shop.zone)} "
    minutes = round(plan.dip_ms / MINUTE_MS)
    learned = "as you do it" if plan.dips_learned else "assumed, until your log tells"
    return f"{sentence(f'{dips} {since}{until}')} About {minutes} min each ({learned})."


def leaving_words(labels: list[str]) -> str:
    """The dips to make last, as a line of its own.

    >>> leaving_words(["Heron", "Snipe", "Teal"])
    'These three before you leave: Heron, Snipe, Teal. Their coats dry through the night.'
    >>> leaving_words(["Heron"]), leaving_words([])
    ('This one before you leave: Heron. Its coat dries through the night.', '')
    """
    if not labels:
        return ""
    if len(labels) == 1:
        return f"This one before you leave: {labels[0]}. Its coat dries through the night."
    number = {2: "two", 3: "three"}[len(labels)]
    return f"These {number} before you leave: {', '.join(labels)}. Their coats dry through the night."


def air_word_words(kind: WordKind, amount: float) -> str:
    """What was said of the coming air.

    >>> air_word_words("colder", 5.0), air_word_words("damp", 80.0)
    ('colder by 5 K', 'at least 80 %RH')
    """
    unit = BOUNDS[kind][2]
    if unit == "K":
        return f"{kind} by {amount:g} K"
    return f"at {'least' if kind == 'damp' else 'most'} {amount:g} %RH"


def _row(plan: ShopPlan, shop: Shop, rank: int, dip: PlannedDip) -> DipRow:
    ahead = next(one for one in plan.trees if one.tree.id == dip.tree_id)
    before = plan.day.dips[rank - 1] if rank else None
    now = dip.start - shop.now < NOW_MS
    fit = ahead.outlook.state in ("fit", "new") or dip.nth
    if dip.nth:
        why = "once more today, if it is fit by then"
    elif plan.next_tree == dip.tree_id:
        why = "you said it is next"
    elif dip.overnight:
        why = "dries through the night"
    elif before is not None and before.pot == dip.pot and fit:
        why = "same pot"
    elif fit:
        why = "fit now"
    else:
        why = "as soon as it is fit"
    coat = ahead.on + dip.nth + 1
    return DipRow(
        tree_id=dip.tree_id,
        label=dip.label,
        hook=ahead.tree.hook,
        coat=coat_words(coat, len(ahead.tree.recipe.coats), dip.pot),
        when="now" if now else f"about {clock_words(_to_five(dip.start), shop.now, shop.zone)}",
        why=why,
        first=rank == 0,
    )


def _to_five(moment: int) -> int:
    """To the next five minutes: nobody dips to the minute."""
    return -(-moment // NOW_MS) * NOW_MS


def _listed(lead: str, labels: tuple[str, ...]) -> str:
    return f"{lead} {', '.join(labels)}." if labels else ""


def _word(word: SaidWord, names: dict[str, str], shop: Shop) -> WordRow:
    where = names.get(word.place, word.place) if word.place else "The whole shop"
    until = clock_words(word.end, shop.now, shop.zone)
    since = "" if word.start <= shop.now else f"from {clock_words(word.start, shop.now, shop.zone)} "
    long = duration_words(max(word.end - shop.now, HOUR_MS))
    return WordRow(
        word.id, f"{where}: {air_word_words(word.kind, word.amount)}, {since}until {until} ({long})."
    )
