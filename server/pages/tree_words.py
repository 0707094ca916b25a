"""What is judged of a tree, in the words and the picture that the rack and the tree's own page share."""

from datetime import tzinfo

from markupsafe import Markup

from scheduler.forecast import Outlook
from sensors.clock import Millis
from server.drying.spots import SpotError, parse_spot
from server.pages.contexts import When
from server.pages.section import layers, section_svg
from server.pages.wording import NEAR_MS, at_words, duration_words, left_words, until_words
from server.store.values import Tree
from server.verdicts import SpotVerdict, TreeVerdict


def when_words(outlook: Outlook, now: Millis, zone: tzinfo) -> When:
    """How long until the tree is fit or dry through, or since when it is."""
    soonest, latest = outlook.fit_at.p10, outlook.fit_at.p90
    match outlook.state:
        case "drying" | "resting":
            lead = "fit" if outlook.state == "drying" else "dry through"
            words = until_words(outlook.fit_at, now, zone)
            if words.startswith("no end"):
                return When("", words)
            middle = outlook.fit_at.p50 or 0
            counts = soonest is not None and latest is not None and latest - now < NEAR_MS
            return (
                When(lead, words, "until", soonest or 0, middle, latest or 0) if counts else When(lead, words)
            )
        case "fit" | "through":
            since = outlook.fit_at.p90
            if since is None:
                return When()
            return When("for", duration_words(now - since), "since", since, since, since)
        case _:
            return When()


def slowest_words(outlook: Outlook) -> str:
    """What remains at the slowest spot, or why that is not known."""
    if outlook.state in ("drying", "fit", "resting") and outlook.slowest_name:
        if outlook.remaining is not None:
            return left_words(outlook.remaining, outlook.slowest_name)
        return f"slowest {at_words(outlook.slowest_name)}"
    if outlook.state == "new":
        return "the first coat may go on at any time"
    return outlook.reason


def following_words(outlook: Outlook) -> str:
    """Which coat goes on next; empty after the last one."""
    if outlook.coat >= outlook.of or outlook.state in ("cleared", "scrapped"):
        return ""
    kind = outlook.next_kind or (outlook.kind if outlook.coat == 0 else None)
    return f"coat {outlook.coat + 1}, {kind}" if kind else f"coat {outlook.coat + 1}"


def picture_of(tree: Tree, verdict: TreeVerdict | None, scale_bar: bool = False) -> tuple[Markup, str]:
    """The section of a tree's shell at its slowest spot, and what it shows in words."""
    spot = _spot_shown(verdict)
    on = tree.recipe.coats[: verdict.outlook.coat] if verdict and spot else ()
    code = spot.code if spot else tree.spots[0].code if tree.spots else "face"
    name = spot.name if spot else tree.spots[0].name if tree.spots else "face"
    coats = (
        layers([coat.thickness_mm for coat in on], [coat.water_kg_m2 for coat in on], spot)
        if on and spot
        else ()
    )
    count = f"{len(coats)} coat{'' if len(coats) == 1 else 's'} on the wax" if coats else "bare wax"
    size = "; the hollow is drawn small" if code.startswith("cavity:") else ""
    words = f"Section {at_words(name)} ({spot_words(code)}): {count}{size}"
    return Markup(section_svg(code, coats, words, scale_bar)), words


def spot_words(code: str) -> str:
    """A spot's code in words; a code that cannot be read stands for itself.

    >>> spot_words("joint:30"), spot_words("gone")
    ('30° joint', 'gone')
    """
    try:
        return parse_spot(code).describe()
    except SpotError:
        return code


def _spot_shown(verdict: TreeVerdict | None) -> SpotVerdict | None:
    if verdict is None or not verdict.spots:
        return None
    slowest = verdict.outlook.slowest_spot
    return next((spot for spot in verdict.spots if spot.code == slowest), verdict.spots[0])
