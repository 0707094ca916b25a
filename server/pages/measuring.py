"""The page on which a tree’s measurements are said, with what was measured and what was learned from it."""

from sensors.clock import Millis
from server.dip_desk import known_tree
from server.learned_words import WhatWasLearned, what_was_learned
from server.load_cells import points_of_coat
from server.measuring_desk import Measured, take_measurement
from server.pages.contexts import MeasuredRow, MeasurePage
from server.pages.frame import Shop, frame, shop_now
from server.pages.wording import ago_words, at_words, clock_words, sentence
from server.parts import Parts
from server.store import dips as dip_store
from server.store import measurements as measurement_store
from server.store import places as place_store
from server.store.values import Measurement, Tree
from server.units import Units

PAUSES_MIN = (0, 5, 10, 20, 30, 60, 120)

_ASKED = {
    "weighing": "Weigh {label}",
    "surface_temp": "Read the surface’s temperature on {label} {where}, and that of a dry shell beside it,",
    "touch": "Touch {label} {where}: damp or dry?",
    "colour": "Look at {label} {where}: still dark, or gone pale?",
}


def measure_page(parts: Parts, tree_id: int, fault: str = "") -> MeasurePage:
    """The page of a tree's measurements; `fault` says what was not taken, and why. Raises UnknownError."""
    tree, shop = known_tree(parts, tree_id), shop_now(parts)
    learned = what_was_learned(parts.engine, tree.place)
    place = place_store.place(parts.engine, tree.place)
    said = measurement_store.measurements(parts.engine, tree_id)
    return MeasurePage(
        frame=frame(parts, shop, f"{tree.label}: measurements"),
        label=tree.label,
        place=place.name if place else tree.place,
        back=f"/trees/{tree_id}",
        fault=shop.units.said(sentence(fault)),
        mass_sign=shop.units.mass_sign,
        temp_sign=shop.units.temp_sign,
        asked=asked_words(parts, shop, tree_id),
        action="" if tree.left else f"/trees/{tree_id}/measurements",
        key=f"page-{tree_id}-{len(said)}",
        pause=tuple((pause, ago_words(pause)) for pause in PAUSES_MIN),
        places=tuple((spot.code, spot.name) for spot in tree.spots),
        measured=tuple(_row(shop, tree, one, learned) for one in reversed(said)),
        learned=tuple(sentence(words) for words in learned.sentences),
        evidence=" ".join(
            filter(None, (_cell_words(parts, tree), f"From {learned.evidence}." if learned.evidence else ""))
        ),
        forget=f"/places/{tree.place}/forget" if learned.generation else "",
        from_tree=tree_id,
    )


def _cell_words(parts: Parts, tree: Tree) -> str:
    """What the load cell under a tree has told since its newest dip; empty where it told nothing."""
    said = dip_store.dips(parts.engine, tree.id)
    count = points_of_coat(parts.engine, tree, said[-1].coat, parts.clock.now()) if said else 0
    if not count:
        return ""
    return f"{count} point{'s' * (count > 1)} of the load cell since the dip: learned from at the next dip."


def asked_words(parts: Parts, shop: Shop, tree_id: int) -> str:
    """What is asked for today of this tree, as a sentence; empty where nothing is."""
    advice = parts.rack.advice()
    if advice is None or advice.tree_id != tree_id:
        return ""
    tree = known_tree(parts, tree_id)
    name = next((spot.name for spot in tree.spots if spot.code == advice.spot), advice.spot)
    words = _ASKED[advice.kind].format(label=tree.label, where=at_words(name))
    when = "now" if advice.at <= shop.now else f"at about {clock_words(advice.at, shop.now, shop.zone)}"
    lead = words if words.endswith("?") else f"{words} {when}"
    told = "it would narrow the forecast most of all that can be measured today"
    return f"{lead} Best {when}: {told}." if words.endswith("?") else f"{lead}: {told}."


def say_measurement(parts: Parts, tree_id: int, said: Measured, ago: Millis) -> None:
    """Keep what a form said, in the shop's units. Raises MeasurementError, UnknownError or RefusedError."""
    at = parts.clock.now() - ago if ago else None
    units = shop_now(parts).units
    value, reference_c = said.value, said.reference_c
    if said.kind == "weighing" and value is not None:
        value = units.kg(value)
    elif value is not None:
        value = units.temp_c(value)
    reference_c = None if reference_c is None else units.temp_c(reference_c)
    take_measurement(
        parts,
        tree_id,
        Measured(said.kind, at, said.spot, value, reference_c, said.word, said.key),
    )


def _row(shop: Shop, tree: Tree, one: Measurement, learned: WhatWasLearned) -> MeasuredRow:
    doubt = "disbelieved: it does not go with the rest" if one.id in learned.disbelieved else ""
    undone = one.undone_at is not None
    return MeasuredRow(
        what=_what(tree, one, shop.units),
        when=clock_words(one.at, shop.now, shop.zone),
        doubt="taken back" if undone else doubt,
        undo="" if undone else f"/trees/{tree.id}/measurements/{one.id}/undo",
    )


def _what(tree: Tree, one: Measurement, units: Units) -> str:
    name = next((spot.name for spot in tree.spots if spot.code == one.spot), one.spot or "")
    match one.kind:
        case "weighing":
            return units.mass_words(one.value or 0.0)
        case "surface_temp":
            beside = "" if one.reference_c is None else f", a dry shell {units.temp_words(one.reference_c)}"
            return f"{units.temp_words(one.value or 0.0)} {at_words(name)}{beside}"
        case "touch":
            return f"{one.word} to the touch {at_words(name)}"
        case _:
            return f"{'still dark' if one.word == 'dark' else 'gone pale'} {at_words(name)}"
