"""The check before burnout: the page, and by its print stylesheet the sheet of paper."""

from server.burnout import ANSWER_WORDS
from server.burnout_cautions import BURNOUT_CHECK
from server.burnout_check import Answer, BurnoutCheck
from server.burnout_record import check_of
from server.dip_desk import known_tree
from server.pages.burnout_contexts import (
    BurnoutPage,
    CastingForm,
    CastingLine,
    PackedLine,
    PatchForm,
    PatchLine,
    ReasonLine,
    SpotLine,
    TickLine,
)
from server.pages.burnout_words import coat_line, figure_lines, moment_words, water_words
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import STATE_WORDS, at_words, sentence, until_words
from server.parts import Parts
from server.store import castings as casting_store
from server.store import clearings as clearing_store
from server.store import places as place_store
from server.store.castings import OUTCOMES, Casting, Outcome
from server.store.clearings import Clearing
from server.store.values import Tree

PAUSES_MIN = (0, 10, 30, 60, 120, 240, 720, 1440)

OUTCOME_WORDS: dict[Outcome, str] = {
    "sound": "sound",
    "fin": "fins",
    "run-out": "ran out",
    "crack": "the shell cracked",
    "other": "something else",
}


def burnout_page(parts: Parts, tree_id: int, fault: str = "") -> BurnoutPage:
    """The check of a tree; `fault` says what was not taken, and why. Raises UnknownError."""
    tree, shop, check = known_tree(parts, tree_id), shop_now(parts), check_of(parts, tree_id)
    said = clearing_store.clearings(parts.engine, tree_id)
    place = place_store.place(parts.engine, check.place)
    on_rack, cleared = not tree.left, tree.left == "cleared"
    address = f"/trees/{tree_id}"
    complete = check.coats_on >= check.coats_in_all
    spots = tuple((spot.code, spot.name) for spot in tree.spots)
    return BurnoutPage(
        frame=frame(parts, shop, f"{tree.label}: check before burnout"),
        label=tree.label,
        under=_under(shop, check, place.name if place else check.place),
        back=address,
        fault=sentence(fault),
        answer=STATE_WORDS["scrapped"] if tree.left == "scrapped" else ANSWER_WORDS[check.finding.answer],
        when=_when(shop, check) if on_rack else "",
        reasons=tuple(
            ReasonLine(shop.units.said(one.words), shop.units.said(one.measure))
            for one in check.finding.reasons
        ),
        cautions=BURNOUT_CHECK,
        clearings=tuple(words for one in said for words in _clearing_words(shop, one)),
        packed=tuple(_packed(shop, one) for one in check.packed),
        ticks=tuple(_tick(shop, one) for one in check.ticks),
        answers=f"{address}/burnout-check/answers" if on_rack else "",
        clear=f"{address}/burnout-check/clear" if on_rack else "",
        clear_button=f"Clear {tree.label} for burnout",
        why_wanted=_why_wanted(check),
        reopen=f"{address}/reopen" if cleared else "",
        patch=f"{address}/patches" if on_rack and complete else "",
        patch_form=PatchForm(spots, tuple((one, _ago_words(one)) for one in PAUSES_MIN)),
        patches=tuple(
            PatchLine(
                shop.units.said(
                    f"Patch {at_words(_name(tree, one.spot))}, {one.thickness_mm:g} mm thick, "
                    f"{moment_words(one.at, shop)}, by {one.who}" + (f": {one.where}" if one.where else "")
                ),
                f"{address}/patches/{one.id}/undo" if on_rack else "",
            )
            for one in check.patches
        ),
        casting=_casting_form(address, spots) if cleared else None,
        castings=tuple(
            _casting(shop, tree, one, address)
            for one in casting_store.castings(parts.engine, tree_id)
            if one.undone_at is None
        ),
        spots=tuple(SpotLine(one.name, water_words(one)) for one in check.spots),
        figures=tuple(shop.units.said(words) for words in figure_lines(check, shop)),
        assumed=tuple(shop.units.said(words) for words in check.notes),
        coats=tuple(coat_line(one, shop) for one in check.coats),
    )


def _under(shop: Shop, check: BurnoutCheck, place: str) -> str:
    hook = f"hook {check.hook} · " if check.hook else ""
    on = f"{check.coats_on} of {check.coats_in_all} coats on"
    return f"{hook}{place} · {check.recipe} · {on} · as of {moment_words(check.as_of, shop)}"


def _when(shop: Shop, check: BurnoutCheck) -> str:
    latest = check.finding.dry_at.p90
    over = latest is not None and latest <= shop.now
    if over or check.finding.answer == "through" or check.coats_on < check.coats_in_all:
        return ""
    return sentence(f"by the model dry through {until_words(check.finding.dry_at, shop.now, shop.zone)}")


def _why_wanted(check: BurnoutCheck) -> str:
    if check.finding.answer != "through":
        said = ANSWER_WORDS[check.finding.answer].lower()
        return f"The check says “{said}”: over that only with a written reason."
    return "A reason is wanted where a question above is not ticked."


def _clearing_words(shop: Shop, one: Clearing) -> list[str]:
    over = "" if one.answer == "through" else f", over “{_answer_words(one.answer)}”"
    why = f": {one.why}" if one.why else ""
    said = [f"Cleared by {one.who}, {moment_words(one.at, shop)}{over}{why}"]
    if one.reopened_at is not None:
        when = moment_words(one.reopened_at, shop)
        said.append(f"Reopened by {one.reopened_by}, {when}: {one.reopened_why}")
    return said


def _answer_words(kept: str) -> str:
    return next((words for one, words in ANSWER_WORDS.items() if one == kept), kept).lower()


def _packed(shop: Shop, one: Answer) -> PackedLine:
    said = "" if one.yes is None else f"{'Packed' if one.yes else 'Open inside'}, {_by(shop, one)}"
    return PackedLine(one.key, one.words, said)


def _tick(shop: Shop, one: Answer) -> TickLine:
    return TickLine(one.key, one.words, bool(one.yes), "" if not one.yes else _by(shop, one))


def _by(shop: Shop, one: Answer) -> str:
    return f"said by {one.who}" + ("" if one.at is None else f", {moment_words(one.at, shop)}")


def _casting_form(address: str, spots: tuple[tuple[str, str], ...]) -> CastingForm:
    outcomes = tuple((key, OUTCOME_WORDS[key]) for key in OUTCOMES)
    return CastingForm(f"{address}/castings", outcomes, (("", "nowhere in particular"), *spots))


def _casting(shop: Shop, tree: Tree, one: Casting, address: str) -> CastingLine:
    where = f" {at_words(_name(tree, one.spot))}" if one.spot else ""
    more = "".join(f" · {words}" for words in (one.where, one.note) if words)
    words = f"{OUTCOME_WORDS[_outcome(one.outcome)]}{where}{more}"
    return CastingLine(
        f"{words[:1].upper()}{words[1:]} (said by {one.who}, {moment_words(one.said_at, shop)})",
        f"{address}/castings/{one.id}/undo",
    )


def _outcome(kept: str) -> Outcome:
    return next((one for one in OUTCOMES if one == kept), "other")


def _name(tree: Tree, code: str) -> str:
    return next((spot.name for spot in tree.spots if spot.code == code), code)


def _ago_words(minutes: int) -> str:
    if not minutes:
        return "just now"
    return f"{minutes} min ago" if minutes < 60 else f"{minutes // 60} h ago"
