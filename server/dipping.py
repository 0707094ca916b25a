"""May this dip be written down? One place for the rules; the API and the pages both ask here.

A dip that cannot have happened is refused. A dip that can, but looks like a mistake, is a question to the
person, who may well know better: sent again with `confirm` it is taken.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scheduler.forecast import Outlook
from sensors.clock import DAY_MS, MINUTE_MS, Millis, format_time
from server.pages.wording import duration_words, left_words
from server.store.values import Dip, RecipeCoat, Tree

FUTURE_MS = MINUTE_MS
"""How far ahead of the shop's clock a dip may be said to be: clocks of phones differ."""

OLDEST_MS = 90 * DAY_MS
"""How long ago a dip may be said to have been: the air of a season ago is of no use for a verdict."""

DUPLICATE_MS = MINUTE_MS
"""Two dips of one tree closer than this look like one dip said twice."""

Refused = Literal["left-the-rack", "no-coat-left", "in-the-future", "too-long-ago", "before-the-last-dip"]


@dataclass(frozen=True)
class Allowed:
    """The dip may be written down; `coat` is the one that went on."""

    coat: RecipeCoat


@dataclass(frozen=True)
class Refusal:
    """The dip cannot have happened. `conflict`: because of the tree as it stands, not of what was said."""

    rule: Refused
    reason: str
    conflict: bool


@dataclass(frozen=True)
class Question:
    """The dip looks like a mistake: `question` is for the person, who may confirm."""

    question: str


def decide(
    tree: Tree,
    dips: Sequence[Dip],
    outlook: Outlook | None,
    at: Millis,
    now: Millis,
    confirm: bool = False,
    coat: int | None = None,
) -> Allowed | Refusal | Question:
    """Judge a dip that is said to have gone on at `at` [shop ms]; `now` is the shop's time.

    `dips` are the tree's dips that stand, in order. `outlook` is the latest verdict, None where there is
    none. `coat` is the coat that the person believes it is, None where they did not say.
    """
    if tree.left:
        return Refusal("left-the-rack", f"{tree.label} is {tree.left} and takes no more dips", True)
    coats = tree.recipe.coats
    if len(dips) >= len(coats):
        reason = f"{tree.label} has all {len(coats)} coats of {tree.recipe.name}: there is none left to dip"
        return Refusal("no-coat-left", reason, True)
    impossible = _impossible_time(tree, dips, at, now, confirm)
    if impossible:
        return impossible
    doubt = None if confirm else _other_coat(tree, dips, coat) or _doubt(tree, dips, outlook, at)
    return Question(doubt) if doubt else Allowed(coats[len(dips)])


def _impossible_time(
    tree: Tree, dips: Sequence[Dip], at: Millis, now: Millis, confirmed: bool
) -> Refusal | None:
    if at > now + FUTURE_MS:
        return Refusal(
            "in-the-future",
            f"dip at {format_time(at)} is in the future: the shop's time is {format_time(now)}, "
            f"at most {FUTURE_MS // 1000} s ahead is taken",
            False,
        )
    if at < now - OLDEST_MS:
        days = OLDEST_MS // DAY_MS
        reason = (
            f"dip at {format_time(at)} is more than {days} days before the shop's time {format_time(now)}"
        )
        return Refusal("too-long-ago", reason, False)
    if dips:
        last = dips[-1]
        # The very same moment is a question first (one dip said twice?), and only then impossible.
        if at < last.at or (at == last.at and confirmed):
            reason = (
                f"dip at {format_time(at)} is not after coat {len(dips)} of {tree.label}, "
                f"which went on at {format_time(last.at)}: undo that one first if it is wrong"
            )
            return Refusal("before-the-last-dip", reason, False)
    return None


def _other_coat(tree: Tree, dips: Sequence[Dip], coat: int | None) -> str | None:
    """An old notice or tag may speak of a coat that is long on: it must not become the next one unasked."""
    following = len(dips) + 1
    if coat in (None, following):
        return None
    if not dips:
        return f"{tree.label} has no coat yet, and this was said of coat {coat}: is it coat 1?"
    return f"{tree.label} has coat {len(dips)} on, and this was said of coat {coat}: is it coat {following}?"


def _doubt(tree: Tree, dips: Sequence[Dip], outlook: Outlook | None, at: Millis) -> str | None:
    """The question that a careful person would ask, or None."""
    if not dips:
        return None
    on, following = len(dips), len(dips) + 1
    if at - dips[-1].at < DUPLICATE_MS:
        return (
            f"Coat {on} of {tree.label} was dipped less than a minute before. "
            f"Is this coat {following}, or the same dip twice?"
        )
    if outlook is None or outlook.coat != on:
        return f"{tree.label} has not been judged since coat {on}: dip coat {following} anyway?"
    if outlook.state == "fit":
        fit_at = outlook.fit_at.p90
        if fit_at is not None and at < fit_at:
            early = duration_words(fit_at - at)
            return f"{tree.label} came fit {early} after that: did coat {following} go on all the same?"
        return None
    if outlook.state == "unsure":
        return f"It is not known whether {tree.label} is fit ({outlook.reason.rstrip('.')}): dip anyway?"
    if outlook.remaining is None or outlook.slowest_name is None:
        return f"{tree.label} is not fit to dip ({outlook.reason.rstrip('.')}): dip anyway?"
    left = left_words(outlook.remaining, outlook.slowest_name)
    return f"{left[0].upper()}{left[1:]}: dip anyway?"
