"""What the shop believes: the table before anything was measured, to be changed; and what it learned."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.believing import LEAST_CONFIDENCE, MOST_CONFIDENCE, BeliefError, Believed, believed, set_believed
from server.drying.drawing import MOST_MEMBERS
from server.drying.priors import PRIORS, Prior, PriorError
from server.learned_words import what_was_learned
from server.pages.contexts import Frame
from server.pages.frame import frame, shop_now
from server.pages.wording import sentence
from server.parts import Parts
from server.store import places as place_store

ENDS = ("low", "centre", "high")


@dataclass(frozen=True)
class PriorLine:
    """One row of the table. `figures` are (field's name, its label, value as it is or was typed)."""

    meaning: str
    figures: tuple[tuple[str, str, str], ...]
    limits: str
    source: str
    changed: bool


@dataclass(frozen=True)
class LearnedPlace:
    """What a place has learned, in sentences, and from what; `forget` is the form's address, "" for none."""

    name: str
    sentences: tuple[str, ...]
    evidence: str
    forget: str


@dataclass(frozen=True)
class BeliefsPage:
    """The beliefs of the shop, and a form that changes them; `fault` is what was wrong with it."""

    frame: Frame
    places: tuple[LearnedPlace, ...]
    fault: str
    confidence: str
    confidence_limits: str
    members: str
    most_members: str
    priors: tuple[PriorLine, ...]


def beliefs_page(parts: Parts, said: Mapping[str, str] | None = None, fault: str = "") -> BeliefsPage:
    """The page. What was typed stays, with what was wrong with it."""
    settings, typed = believed(parts.engine), said or {}
    return BeliefsPage(
        frame=frame(parts, shop_now(parts), "What is believed", "shop"),
        places=tuple(_learned(parts, place.id, place.name) for place in place_store.places(parts.engine)),
        fault=fault,
        confidence=typed.get("confidence", f"{settings.confidence * 100:g}"),
        confidence_limits=f"{LEAST_CONFIDENCE * 100:g} to {MOST_CONFIDENCE * 100:g}",
        members=typed.get("members", f"{settings.members}"),
        most_members=f"{MOST_MEMBERS}",
        priors=tuple(_line(now, usual, typed) for now, usual in zip(settings.priors, PRIORS, strict=True)),
    )


def set_beliefs(parts: Parts, said: Mapping[str, str]) -> BeliefsPage | None:
    """Believe what was typed, and judge every tree anew by it; the page with the fault where it cannot be."""
    before = believed(parts.engine)
    try:
        changes = {
            "confidence": _number("sureness", said.get("confidence", "")) / 100.0,
            "members": _whole("members", said.get("members", "")),
            "priors": _priors(said),
        }
        after = set_believed(parts.engine, **changes)
    except (BeliefError, PriorError) as error:
        return beliefs_page(parts, said, str(error))
    if after != before:
        parts.rack.believe_anew()
    return None


def usual_beliefs(parts: Parts) -> None:
    """Believe again what is usual, and judge every tree anew by it."""
    before = believed(parts.engine)
    if set_believed(parts.engine, confidence=None, members=None, priors=None) != before:
        parts.rack.believe_anew()


def _priors(said: Mapping[str, str]) -> dict[str, list[float]]:
    """The figures that are not the usual ones."""
    found = {}
    for prior in PRIORS:
        typed = [said.get(f"{prior.name}_{end}", "") for end in ENDS]
        figures = [_number(f"{prior.name}, {end}", text) for end, text in zip(ENDS, typed, strict=True)]
        if [f"{figure:g}" for figure in figures] != [f"{figure:g}" for figure in _figures(prior)]:
            found[prior.name] = figures
    return found


def _figures(prior: Prior) -> tuple[float, float, float]:
    return prior.low, prior.centre, prior.high


def _line(now: Prior, usual: Prior, typed: Mapping[str, str]) -> PriorLine:
    normal = now.form in ("normal", "lognormal")
    labels = ("one in ten lies below", "half", "one in ten above") if normal else ("from", "half below", "to")
    figures = tuple(
        (f"{now.name}_{end}", label, typed.get(f"{now.name}_{end}", f"{figure:g}"))
        for end, label, figure in zip(ENDS, labels, _figures(now), strict=True)
    )
    unit = "" if now.unit == "-" else f" [{now.unit}]"
    return PriorLine(
        meaning=sentence(f"{now.meaning}{unit}"),
        figures=figures,
        limits=f"{now.least:g} to {now.most:g}",
        source=sentence(now.source),
        changed=_figures(now) != _figures(usual),
    )


def _learned(parts: Parts, place: str, name: str) -> LearnedPlace:
    learned = what_was_learned(parts.engine, place)
    return LearnedPlace(
        name,
        tuple(sentence(words) for words in learned.sentences),
        f"From {learned.evidence}." if learned.evidence else "",
        f"/places/{place}/forget" if learned.sentences else "",
    )


def _number(what: str, text: str) -> float:
    try:
        return float(text.replace(",", ".").strip())
    except ValueError:
        raise BeliefError(f"{what}: {text!r} is not a number") from None


def _whole(what: str, text: str) -> int:
    try:
        return int(text.strip())
    except ValueError:
        raise BeliefError(f"{what}: {text!r} is not a whole number") from None


def changed_words(settings: Believed) -> str:
    """How far the beliefs are from the usual ones, for the page of the shop.

    >>> from server.drying.priors import priors_from
    >>> changed_words(Believed(32)), changed_words(Believed(32, priors=priors_from({"lee": [-1, 0, 1]})))
    ('as usual', 'with 1 figure changed')
    """
    count = sum(_figures(now) != _figures(usual) for now, usual in zip(settings.priors, PRIORS, strict=True))
    return f"with {count} figure{'s' if count > 1 else ''} changed" if count else "as usual"
