"""A tree's spots and its shell at each of them, drawn and in words."""

from markupsafe import Markup

from server.pages.chart import line_sample, ranked
from server.pages.frame import Shop
from server.pages.section import layers, section_svg
from server.pages.tree_contexts import SpotRow
from server.pages.tree_words import picture_of, spot_words
from server.pages.wording import at_words, duration_words, per_cent, share_words, until_words
from server.store.values import Tree
from server.verdicts import SpotVerdict, TreeVerdict


def section_of(tree: Tree, verdict: TreeVerdict | None, chosen: SpotVerdict | None) -> tuple[Markup, str]:
    """The section at the spot that is looked at, large, with where it dries last, and what it shows."""
    if verdict is None or chosen is None:
        return picture_of(tree, verdict, scale_bar=True)
    svg, words = _section(tree, verdict, chosen, large=True)
    return svg, f"{words}. The ring is where it dries last"


def spot_rows(shop: Shop, tree: Tree, verdict: TreeVerdict | None, chosen: str) -> tuple[SpotRow, ...]:
    """The spots in the order of their lines in the chart, the one that is looked at first."""
    if verdict is None:
        return ()
    order = ranked(verdict.spots, chosen)
    return tuple(_spot(shop, tree, verdict, rank, spot) for rank, spot in enumerate(order))


def _section(tree: Tree, verdict: TreeVerdict, spot: SpotVerdict, large: bool) -> tuple[Markup, str]:
    on = tree.recipe.coats[: verdict.outlook.coat]
    coats = layers([coat.thickness_mm for coat in on], [coat.water_kg_m2 for coat in on], spot) if on else ()
    count = f"{len(coats)} coat{'' if len(coats) == 1 else 's'} on the wax" if coats else "bare wax"
    size = "; the hollow is drawn small" if spot.code.startswith("cavity:") else ""
    slow = ", the slowest" if spot.code == verdict.outlook.slowest_spot else ""
    words = f"Section {at_words(spot.name)} ({spot_words(spot.code)}{slow}): {count}{size}"
    return Markup(section_svg(spot.code, coats, words, scale_bar=large, mark=large)), words


def _spot(shop: Shop, tree: Tree, verdict: TreeVerdict, rank: int, spot: SpotVerdict) -> SpotRow:
    limit = f", fit at {per_cent(spot.limit)}"
    if verdict.outlook.coat >= verdict.outlook.of:  # no coat follows that a spot could be fit for
        fit = limit = ""
    elif spot.fit:
        since = spot.fit_at.p90
        fit = "fit" if since is None else f"fit for {duration_words(shop.now - since)}"
    else:
        words = until_words(spot.fit_at, shop.now, shop.zone)
        fit = words if words.startswith("no end") else f"fit {words}"
    kind = spot_words(spot.code)
    return SpotRow(
        picture=_section(tree, verdict, spot, large=False)[0],
        sample=Markup(line_sample(rank)),
        name=spot.name,
        kind="" if kind == spot.name else shop.units.said(kind),
        slowest="the slowest" if spot.code == verdict.outlook.slowest_spot else "",
        left=f"{share_words(spot.remaining)} is left" + (f" · {fit}" if fit else ""),
        exact=shop.units.said(
            f"{per_cent(spot.remaining)} of the dip’s water{limit}; "
            f"its drying cools it {max(spot.cooling_k, 0.0):.1f} K"
        ),
    )
