"""A tree: how it stands, the one big button, its spots and their drying, its coats."""

from collections.abc import Sequence

from scheduler.forecast import Outlook
from sensors.clock import MINUTE_MS
from server.dip_desk import Saying, known_tree
from server.pages import cautions
from server.pages.contexts import DipForm, QuestionPage, UndoLink, UndoPage, WhatIfPart, When
from server.pages.frame import Shop, frame, shop_now
from server.pages.measuring import asked_words
from server.pages.tree_changes import how_it_left
from server.pages.tree_chart import chart_part, chosen_spot
from server.pages.tree_contexts import CoatRow, HangAgain, TreePage
from server.pages.tree_notes import NEWEST, note_rows, notes_words
from server.pages.tree_spots import section_of, spot_rows
from server.pages.tree_words import following_words, slowest_words, when_words
from server.pages.what_if import what_if_part
from server.pages.wording import (
    STATE_WORDS,
    ago_words,
    at_words,
    clock_words,
    coat_words,
    duration_words,
    sentence,
    share_words,
)
from server.parts import Parts
from server.store import dips as dip_store
from server.store import notes as note_store
from server.store import places as place_store
from server.store.engine import RefusedError, UnknownError
from server.store.values import Dip, Tree
from server.verdicts import CoatVerdict, TreeVerdict

PAUSES_MIN = (0, 5, 10, 20, 30, 60, 120)
"""How long ago a person may say, on the form, that the stucco was on [min]."""


def tree_page(
    parts: Parts, tree_id: int, what_if: bool = False, spot: str = "", whole: bool = False
) -> TreePage:
    """The page of a tree, on the rack or off it; with `what_if` it says what would save time.

    `spot` is the code of the one that is looked at, "" for the slowest; `whole`: its chart is of all coats.
    Raises UnknownError.
    """
    tree, shop = known_tree(parts, tree_id), shop_now(parts)
    verdict = None if tree.left else parts.rack.tree(tree_id)
    said = dip_store.all_dips(parts.engine, tree_id)
    standing = [dip for dip in said if dip.undone_at is None]
    noted = note_store.notes(parts.engine, tree_id)
    outlook = verdict.outlook if verdict else None
    chosen = chosen_spot(verdict, spot) if verdict and verdict.spots else None
    picture, picture_words = section_of(tree, verdict, chosen)
    place = place_store.place(parts.engine, tree.place)
    coats = tree.recipe.coats
    kind = coats[max(len(standing), 1) - 1].kind if coats else ""
    here = f"/trees/{tree_id}"
    return TreePage(
        frame=frame(parts, shop, tree.label),
        href=here,
        label=tree.label,
        hook=tree.hook,
        place=place.name if place else tree.place,
        coat="no coat went on" if tree.left and not standing else coat_words(len(standing), len(coats), kind),
        following=following_words(outlook) if outlook else "",
        state=_state(tree, outlook),
        state_code=tree.left or (outlook.state if outlook else "unsure"),
        when=when_words(outlook, shop.now, shop.zone) if outlook else When(),
        left=how_it_left(parts, shop, tree),
        hang_again=HangAgain(f"{here}/hang", tree.hook) if tree.left == "scrapped" else None,
        judged=_judged_words(shop, tree, outlook),
        dip=None if tree.left or len(standing) >= len(coats) else _form(tree, standing, said),
        undo=_undo(shop, tree, standing),
        measure=f"{here}/measure" if standing else "",
        change="" if tree.left else f"{here}/change",
        asked=asked_words(parts, shop, tree_id),
        picture=picture,
        picture_words=picture_words,
        spots=spot_rows(shop, tree, verdict, chosen.code if chosen else ""),
        what_if=_what_if(parts, tree.id, outlook, what_if),
        chart=chart_part(parts, shop, tree, verdict, spot, whole),
        coats=_coats(shop, tree, verdict, said),
        notes=note_rows(shop, tree.label, noted)[:NEWEST],
        notes_more=notes_words(noted),
        warnings=tuple(shop.units.said(words) for words in verdict.warnings) if verdict else (),
        cautions=_cautions(tree, outlook, len(standing) >= len(coats)),
    )


def question_page(parts: Parts, tree_id: int, question: str, saying: Saying) -> QuestionPage:
    """Asks whether a dip that looks like a mistake was one; the time is that of the first saying."""
    tree, shop = known_tree(parts, tree_id), shop_now(parts)
    said = {
        "at": str(shop.now if saying.at is None else saying.at),
        "pot": saying.pot or "",
        "note": saying.note or "",
        "prewet": "yes" if saying.prewet else "",
        "partial": "yes" if saying.partial else "",
        "key": saying.key or "",
    }
    number = len(dip_store.dips(parts.engine, tree_id)) + 1
    return QuestionPage(
        frame=frame(parts, shop, f"{tree.label}: dip anyway?"),
        question=question,
        action=f"/trees/{tree_id}/dips",
        fields=(*((name, value) for name, value in said.items() if value), ("confirm", "yes")),
        yes=f"Yes, coat {number} went on",
        back=f"/trees/{tree_id}",
    )


def undo_page(parts: Parts, tree_id: int, dip_id: int) -> UndoPage:
    """Asks before the latest dip of a tree is taken back. Raises UnknownError or RefusedError."""
    tree, shop = known_tree(parts, tree_id), shop_now(parts)
    standing = dip_store.dips(parts.engine, tree_id)
    dip = next((dip for dip in standing if dip.id == dip_id), None)
    if dip is None:
        raise UnknownError(f"{tree.label} has no dip {dip_id} that stands")
    if dip is not standing[-1]:
        on = standing[-1].coat
        raise RefusedError(f"coat {dip.coat} of {tree.label} is under coat {on}: undo that one first")
    return UndoPage(
        frame=frame(parts, shop, f"{tree.label}: undo coat {dip.coat}?"),
        question=f"Undo coat {dip.coat} of {tree.label}, dipped {clock_words(dip.at, shop.now, shop.zone)}?",
        then="The dip stays in the record, marked as undone.",
        action=f"/trees/{tree_id}/dips/{dip_id}/undo",
        yes=f"Undo coat {dip.coat}",
        back=f"/trees/{tree_id}",
    )


def _state(tree: Tree, outlook: Outlook | None) -> str:
    if tree.left == "cleared":
        return STATE_WORDS["cleared"]
    if tree.left:
        return STATE_WORDS["scrapped"]
    return STATE_WORDS[outlook.state if outlook else "unsure"]


def _judged_words(shop: Shop, tree: Tree, outlook: Outlook | None) -> tuple[str, ...]:
    """What is left at the slowest spot, and why the tree is as it is, each as a sentence."""
    if outlook is None:
        return () if tree.left else ("It has not been judged yet.",)
    said = dict.fromkeys((sentence(slowest_words(outlook)), sentence(outlook.reason)))
    return tuple(shop.units.said(words) for words in said if words)


def _form(tree: Tree, standing: Sequence[Dip], said: Sequence[Dip]) -> DipForm:
    number = len(standing) + 1
    pauses = tuple((pause, ago_words(pause)) for pause in PAUSES_MIN)
    # The key is the same until another dip is said or undone: pressing twice, or on two phones, is one dip.
    key = f"page-{tree.id}-{len(said)}-{number}"
    return DipForm(f"/trees/{tree.id}/dips", key, f"Dipped: coat {number}", pauses)


def _undo(shop: Shop, tree: Tree, standing: Sequence[Dip]) -> UndoLink | None:
    if tree.left or not standing:
        return None
    dip = standing[-1]
    words = f"Undo coat {dip.coat}, dipped {clock_words(dip.at, shop.now, shop.zone)}"
    return UndoLink(f"/trees/{tree.id}/dips/{dip.id}/undo", words)


def _what_if(parts: Parts, tree_id: int, outlook: Outlook | None, asked: bool) -> WhatIfPart | None:
    if outlook is None or outlook.state not in ("drying", "resting"):
        return None
    return what_if_part(tree_id, parts.rack.what_if(tree_id) if asked else None, asked)


def _coats(shop: Shop, tree: Tree, verdict: TreeVerdict | None, said: Sequence[Dip]) -> tuple[CoatRow, ...]:
    """The coats, the newest first: as judged, or off the rack as they were said."""
    dips = {dip.id: dip for dip in said if dip.undone_at is None}
    if verdict is not None:
        return tuple(_judged(shop, tree, coat, dips.get(coat.dip_id)) for coat in reversed(verdict.coats))
    return tuple(
        CoatRow(
            number=dip.coat,
            title=f"Coat {dip.coat}, {tree.recipe.coats[dip.coat - 1].kind}",
            dipped=clock_words(dip.at, shop.now, shop.zone),
            fit="",
            told=_joined(_pot(dip.pot), *_how(dip), dip.note),
            warnings=(),
        )
        for dip in reversed(said)
        if dip.undone_at is None
    )


def _judged(shop: Shop, tree: Tree, coat: CoatVerdict, dip: Dip | None) -> CoatRow:
    fit_at = coat.fit_at.p90
    if fit_at is None or fit_at > shop.now:
        fit = ""
    elif fit_at - coat.dipped_at < MINUTE_MS:
        fit = "fit at once"
    else:
        fit = f"fit after {duration_words(fit_at - coat.dipped_at)}"
    damp = "" if coat.damp_at_next is None else f"{share_words(coat.damp_at_next)} was left at the next dip"
    slowest = f"slowest {at_words(coat.slowest_name)}" if coat.slowest_name else ""
    patched = next((spot.name for spot in tree.spots if spot.code == coat.patch), coat.patch)
    return CoatRow(
        number=coat.number,
        title=f"Patch {at_words(patched)}" if patched else f"Coat {coat.number}, {coat.kind}",
        dipped=clock_words(coat.dipped_at, shop.now, shop.zone),
        fit=fit,
        told=_joined(slowest, damp, _pot(coat.pot), *(_how(dip) if dip else ()), coat.note),
        warnings=tuple(shop.units.said(words) for words in coat.warnings),
    )


def _how(dip: Dip) -> tuple[str, ...]:
    return ("pre-wetted",) * dip.prewet + ("only a part was dipped",) * dip.partial


def _pot(pot: str | None) -> str:
    return f"pot {pot}" if pot else ""


def _joined(*parts: str | None) -> str:
    return " · ".join(part for part in parts if part)


def _cautions(tree: Tree, outlook: Outlook | None, all_on: bool) -> tuple[str, ...]:
    if all_on or tree.left == "cleared" or (outlook and outlook.state in ("resting", "through")):
        return cautions.BURNOUT
    return () if tree.left else cautions.DIPPING
