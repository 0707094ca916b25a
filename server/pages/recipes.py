"""Recipes: which coats make a shell. One that is written stays as it is, so that no tree's coats change
under it; a better one gets a name of its own."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby

from server.pages import cautions
from server.pages.contexts import Frame
from server.pages.frame import frame, shop_now
from server.pages.wording import sentence
from server.parts import Parts
from server.store import recipes as recipe_store
from server.store.engine import RefusedError
from server.store.values import Recipe, RecipeCoat
from server.units import Units

MOST_COATS = 30
THINNEST_MM, THICKEST_MM = 0.1, 10.0
LEAST_WATER_G_M2, MOST_WATER_G_M2 = 10.0, 2000.0
LONGEST_NAME = 60

KIND_WORDS = {"prime": "Prime coats", "backup": "Backup coats", "seal": "Seal coats"}
_USUAL_COUNT = {"prime": 2, "backup": 7, "seal": 1}


@dataclass(frozen=True)
class KindForm:
    """The coats of one kind, as typed: how many, how thick, and the water a dip brings [g/m²]."""

    kind: str
    name: str
    count: str
    thickness: str
    water_g_m2: str


@dataclass(frozen=True)
class RecipeForm:
    """A recipe as it is typed: prime coats first, then backup, then seal."""

    name: str
    kinds: tuple[KindForm, ...]

    @staticmethod
    def of(typed: Mapping[str, str]) -> "RecipeForm":
        """The form of fields that came in; what is missing is empty."""
        return RecipeForm(
            typed.get("name", "").strip(),
            tuple(
                KindForm(
                    kind,
                    words,
                    *(typed.get(f"{part}_{kind}", "").strip() for part in ("count", "thickness", "water")),
                )
                for kind, words in KIND_WORDS.items()
            ),
        )

    @staticmethod
    def usual(units: Units) -> "RecipeForm":
        """The figures that a recipe starts from."""
        figures = recipe_store.KINDS
        return RecipeForm(
            "",
            tuple(
                KindForm(
                    kind,
                    words,
                    f"{_USUAL_COUNT[kind]}",
                    f"{units.length(figures[kind][0]):.3g}",
                    f"{1000 * figures[kind][1]:.0f}",
                )
                for kind, words in KIND_WORDS.items()
            ),
        )


@dataclass(frozen=True)
class RecipeView:
    """A recipe that is kept, its runs of equal coats one line each."""

    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class RecipesPage:
    """The recipes, and a form for another; `fault` is what was wrong with it."""

    frame: Frame
    recipes: tuple[RecipeView, ...]
    fault: str
    form: RecipeForm
    length_sign: str
    limits: str
    cautions: tuple[str, ...]


def recipes_page(parts: Parts, fault: str = "", form: RecipeForm | None = None) -> RecipesPage:
    """The page; what was typed stays in its form."""
    shop = shop_now(parts)
    thin, thick = (f"{shop.units.length(mm):.2g}" for mm in (THINNEST_MM, THICKEST_MM))
    return RecipesPage(
        frame=frame(parts, shop, "Recipes", "shop"),
        recipes=tuple(_view(recipe, shop.units) for recipe in recipe_store.recipes(parts.engine)),
        fault=sentence(fault),
        form=form or RecipeForm.usual(shop.units),
        length_sign=shop.units.length_sign,
        limits=f"A coat is {thin} to {thick} {shop.units.length_sign} thick and brings "
        f"{LEAST_WATER_G_M2:g} to {MOST_WATER_G_M2:g} g/m² of water; a shell has 1 to {MOST_COATS} coats.",
        cautions=cautions.SHOP,
    )


def write_recipe(parts: Parts, form: RecipeForm) -> RecipesPage | None:
    """Keep a recipe; the page with what was wrong where it cannot be."""
    units = shop_now(parts).units
    try:
        if not 1 <= len(form.name) <= LONGEST_NAME or not form.name.isprintable():
            raise ValueError(f"a recipe's name has 1 to {LONGEST_NAME} signs, this one {len(form.name)}")
        recipe_store.add_recipe(parts.engine, form.name, coats_typed(form, units))
    except (ValueError, RefusedError) as fault:
        return recipes_page(parts, str(fault), form)
    return None


def coats_typed(form: RecipeForm, units: Units) -> tuple[RecipeCoat, ...]:
    """The coats of a form, in order. Raises ValueError naming the thing, the value and the limits.

    >>> coats_typed(RecipeForm("Thin", (KindForm("prime", "Prime coats", "1", "0.6", "200"),)), Units())
    (RecipeCoat(number=1, kind='prime', thickness_mm=0.6, water_kg_m2=0.2),)
    """
    coats: list[RecipeCoat] = []
    for kind in form.kinds:
        count = _figure(kind, "how many", kind.count or "0", 0, MOST_COATS)
        if count != int(count):
            raise ValueError(f"{kind.name.lower()}, how many: {kind.count[:20]!r} is not a whole number")
        if not count:
            continue
        low, high = units.length(THINNEST_MM), units.length(THICKEST_MM)
        thick = _figure(kind, f"thickness [{units.length_sign}]", kind.thickness, low, high)
        water = _figure(kind, "water [g/m²]", kind.water_g_m2, LEAST_WATER_G_M2, MOST_WATER_G_M2)
        for _ in range(int(count)):
            coats.append(
                RecipeCoat(len(coats) + 1, kind.kind, round(units.mm(thick), 4), round(water / 1000, 6))
            )
    if not 1 <= len(coats) <= MOST_COATS:
        raise ValueError(f"a shell has 1 to {MOST_COATS} coats, this one {len(coats)}")
    return tuple(coats)


def _figure(kind: KindForm, thing: str, text: str, least: float, most: float) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{kind.name.lower()}, {thing}: {text[:20]!r} is not a number") from None
    if not least <= value <= most:
        raise ValueError(f"{kind.name.lower()}, {thing}: {value:g} is outside {least:.3g} to {most:.3g}")
    return value


def _view(recipe: Recipe, units: Units) -> RecipeView:
    lines = []
    alike = groupby(recipe.coats, key=lambda coat: (coat.kind, coat.thickness_mm, coat.water_kg_m2))
    for (kind, thickness_mm, water_kg_m2), run in alike:
        numbers = [coat.number for coat in run]
        which = f"Coat {numbers[0]}" if len(numbers) == 1 else f"Coats {numbers[0]} to {numbers[-1]}"
        thick = f"{units.length(thickness_mm):.2g} {units.length_sign}"
        lines.append(f"{which}: {kind}, {thick} thick, {1000 * water_kg_m2:.0f} g/m² of water a dip")
    return RecipeView(recipe.name, tuple(lines))
