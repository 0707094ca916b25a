"""A round of dips: several trees that were dipped in one go, said at once, and taken back one by one or all.

What is in doubt is asked for afterwards, on one page, for those trees only; the others are written down. Each
dip has the key of its tree's own page, so that whatever is sent twice, or on two phones, is one dip.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from scheduler.plan import next_first
from sensors.clock import MINUTE_MS, SECOND_MS, Millis
from server.dip_desk import Kept, Saying, take_dip, undo_dip
from server.dipping import Question
from server.pages import cautions
from server.pages.contexts import Frame, When
from server.pages.frame import Shop, frame, shop_now
from server.pages.rack_words import named, number_words
from server.pages.tree_words import slowest_words, when_words
from server.pages.wording import STATE_WORDS, clock_words, sentence
from server.parts import Parts
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.engine import RefusedError, UnknownError
from server.store.values import Dip

PAUSES = (
    (0, "just now"),
    (15, "about a quarter of an hour ago"),
    (30, "about half an hour ago"),
    (60, "about an hour ago"),
    (120, "about two hours ago"),
    (240, "about four hours ago"),
)
"""When the stucco was on, as it may be said of a round [min]."""

KEY = re.compile(r"page-(\d{1,10})-\d{1,6}-(\d{1,4})")
"""The key of a dip that a page offers: its tree's id, how many dips were said before, and the coat."""


@dataclass(frozen=True)
class TickRow:
    """A tree to tick: `key` stands for its next dip; `line` says how it stands, or asks."""

    key: str
    label: str
    line: str
    state: str
    when: When


@dataclass(frozen=True)
class TogetherPage:
    """Which trees were dipped? Nothing is ticked. `fault` is what was wrong with what was sent."""

    frame: Frame
    fault: str
    empty: str
    trees: tuple[TickRow, ...]
    pause: tuple[tuple[int, str], ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class TogetherAskedPage:
    """What is in doubt in a round, with the round as it was said; `kept` and `refused` tell of the rest."""

    frame: Frame
    title: str
    trees: tuple[TickRow, ...]
    fields: tuple[tuple[str, str], ...]
    kept: str
    refused: tuple[str, ...]
    yes: str
    back: str


@dataclass(frozen=True)
class SaidRow:
    """One dip of a round: `undo` leads to taking it back, empty where that is not to be done any more."""

    words: str
    undo: str
    undo_words: str


@dataclass(frozen=True)
class TogetherSaidPage:
    """What was written down of a round. `dips` are those that can all be taken back at once."""

    frame: Frame
    title: str
    rows: tuple[SaidRow, ...]
    refused: tuple[str, ...]
    dips: tuple[str, ...]
    undo_all: str


@dataclass(frozen=True)
class Round:
    """A round as it was said: the keys of its dips, when the stucco was on [shop ms], the pot."""

    keys: tuple[str, ...]
    at: Millis
    pot: str = ""
    confirm: bool = False


@dataclass(frozen=True)
class Outcome:
    """What became of a round: dips that are written down, questions by key, and refusals as sentences."""

    kept: tuple[Dip, ...]
    asked: tuple[tuple[str, str], ...]
    refused: tuple[str, ...]


def together_page(parts: Parts, fault: str = "") -> TogetherPage:
    """Every tree that takes another coat, the next to dip first."""
    shop = shop_now(parts)
    hanging = {tree.id: tree for tree in tree_store.rack(parts.engine)}
    rows = []
    for outlook in next_first(parts.rack.outlooks(), shop.now):
        tree = hanging.get(outlook.tree_id)
        if tree is None:
            continue
        said = dip_store.all_dips(parts.engine, tree.id)
        number = sum(1 for dip in said if dip.undone_at is None) + 1
        if number > len(tree.recipe.coats):
            continue
        line = f"hook {tree.hook} · coat {number} of {len(tree.recipe.coats)} · {slowest_words(outlook)}"
        rows.append(
            TickRow(
                f"page-{tree.id}-{len(said)}-{number}",
                tree.label,
                line,
                STATE_WORDS[outlook.state],
                when_words(outlook, shop.now, shop.zone),
            )
        )
    return TogetherPage(
        frame=frame(parts, shop, "Just dipped several", "rack"),
        fault=fault,
        empty="" if rows else "No tree on the rack takes another coat.",
        trees=tuple(rows),
        pause=PAUSES,
        cautions=cautions.DIPPING,
    )


def moment_said(shop: Shop, ago_min: int, clock: str) -> Millis:
    """When it was: the time of day by the shop's clock, the latest one that is past, or so long ago [ms].

    Raises ValueError, naming it, where it is no time of day.
    """
    if not clock:
        return shop.now - ago_min * MINUTE_MS
    try:
        told = time.fromisoformat(clock)
    except ValueError:
        raise ValueError(f"“{clock}” is not a time of day such as 14:30") from None
    now = datetime.fromtimestamp(shop.now / SECOND_MS, shop.zone)
    there = datetime.combine(now.date(), told.replace(tzinfo=None), shop.zone)
    if there > now:
        there = datetime.combine(now.date() - timedelta(days=1), told.replace(tzinfo=None), shop.zone)
    return round(there.timestamp() * SECOND_MS)


def take_round(parts: Parts, said: Round) -> Outcome:
    """Write down every dip of a round that nothing speaks against."""
    kept, asked, refused = [], [], []
    for key in dict.fromkeys(said.keys):
        tree_id, coat = _meant(key)
        saying = Saying(said.at, said.pot or None, confirm=said.confirm, key=key, coat=coat)
        try:
            answer = take_dip(parts, tree_id, saying)
        except UnknownError as error:
            refused.append(sentence(str(error)))
            continue
        match answer:
            case Kept(dip=dip):
                kept.append(dip)
            case Question(question=question):
                asked.append((key, question))
            case refusal:
                refused.append(sentence(refusal.reason))
    return Outcome(tuple(kept), tuple(asked), tuple(refused))


def asked_page(parts: Parts, said: Round, outcome: Outcome, before: Sequence[str]) -> TogetherAskedPage:
    """Asks for each tree in doubt; `before` are the dips of the round that were written down already."""
    shop = shop_now(parts)
    labels = _labels(parts)
    rows = []
    for key, question in outcome.asked:
        tree_id, coat = _meant(key)
        rows.append(
            TickRow(key, labels.get(tree_id, "One tree"), question, f"Yes, coat {coat} went on", When())
        )
    done = tuple(dict.fromkeys((*before, *map(_name, outcome.kept))))
    fields = [("at", str(said.at)), ("pot", said.pot), ("confirm", "yes"), *(("done", one) for one in done)]
    kept = named([labels[_parted(one)[0]] for one in done if _parted(one)[0] in labels])
    back = f"/together/said?{'&'.join(f'dip={one}' for one in done)}" if done else "/"
    return TogetherAskedPage(
        frame=frame(parts, shop, "Dip anyway?"),
        title=f"{number_words(len(rows)).capitalize()} of them {'is' if len(rows) == 1 else 'are'} in doubt",
        trees=tuple(rows),
        fields=tuple((name, value) for name, value in fields if value),
        kept=f"Written down: {kept}." if kept else "Nothing is written down so far.",
        refused=outcome.refused,
        yes="Those I ticked went on",
        back=back,
    )


def said_page(parts: Parts, dips: Sequence[str], refused: Sequence[str] = ()) -> TogetherSaidPage:
    """A round as it stands now: what is on, what was taken back."""
    shop, labels = shop_now(parts), _labels(parts)
    rows, standing = [], []
    for one in dict.fromkeys(dips):
        tree_id, dip_id = _parted(one)
        said = dip_store.all_dips(parts.engine, tree_id)
        dip = next((dip for dip in said if dip.id == dip_id), None)
        if dip is None:
            continue
        what = f"{labels.get(tree_id, f'Tree {tree_id}')}, coat {dip.coat}"
        when = f"dipped {clock_words(dip.at, shop.now, shop.zone)}{f' · pot {dip.pot}' if dip.pot else ''}"
        if dip.undone_at is not None:
            rows.append(SaidRow(f"{what}: taken back", "", ""))
        elif dip != [other for other in said if other.undone_at is None][-1] or tree_id not in labels:
            rows.append(SaidRow(f"{what} · {when}", "", ""))
        else:
            rows.append(SaidRow(f"{what} · {when}", f"/trees/{tree_id}/dips/{dip_id}/undo", f"Undo {what}"))
            standing.append(one)
    count = len(standing)
    return TogetherSaidPage(
        frame=frame(parts, shop, "Dipped", "rack"),
        title=f"{count} {'dip' if count == 1 else 'dips'} written down",
        rows=tuple(rows),
        refused=tuple(refused),
        dips=tuple(standing),
        undo_all=f"Undo all {number_words(count)}" if count > 1 else "",
    )


def undo_round(parts: Parts, dips: Sequence[str]) -> tuple[str, ...]:
    """Take back every dip of a round that can be; why one cannot, as a sentence each."""
    refused = []
    for one in dict.fromkeys(dips):
        try:
            undo_dip(parts, *_parted(one))
        except (UnknownError, RefusedError) as error:
            refused.append(sentence(str(error)))
    return tuple(refused)


def dip_names(dips: Sequence[Dip]) -> list[str]:
    """Dips as they stand in an address: the tree's id and the dip's."""
    return [_name(dip) for dip in dips]


def _name(dip: Dip) -> str:
    return f"{dip.tree_id}-{dip.id}"


def _parted(name: str) -> tuple[int, int]:
    tree_id, _, dip_id = name.partition("-")
    return int(tree_id), int(dip_id)


def _meant(key: str) -> tuple[int, int]:
    found = KEY.fullmatch(key)
    if found is None:
        raise ValueError(f"{key!r} is not the key of a dip")
    return int(found[1]), int(found[2])


def _labels(parts: Parts) -> dict[int, str]:
    return {tree.id: tree.label for tree in tree_store.rack(parts.engine)}
