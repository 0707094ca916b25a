"""What a coat is made of, what nobody knows exactly about it, and the limits a coat is judged by.

Each figure says where it comes from: a trial or book, "from memory" (the trade's usual range) or "assumed".
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.drying.exposure import SLOW_Z

Floats = NDArray[np.float64]

CoatKind = Literal["prime", "backup", "seal"]

SATURATION_KG_M3 = 350.0
"""Water that fills a coat's pores [kg/m³ of coat]: a porosity of about a third (from memory)."""

SORPTION_LIMIT = 0.1
"""Saturation below which the gel holds the water and its vapour pressure falls [-] (assumed: 35 of 350)."""

SORPTION_POWER = 3.0
"""Shape of the sorption curve, a_w = 1 − (1 − S/S_h)^n below S_h [-] (assumed)."""

WAX_HEAT_J_M2K = 2.0e4
"""Heat the wax behind a wall takes up while it follows the shell: about 1 cm of wax [J/m²K] (assumed)."""

SHELL_HEAT_J_KGK = 840.0
"""Specific heat of dry silica and alumino-silicate shell [J/kgK] (from memory, 750-1000).

The water's own heat is left out.
"""

DRY_KG_M2_MM = 1.8
"""Dry mass of a coat with its stucco, a millimetre of thickness [kg/m²mm] (from memory, factor of two)."""

COOLING_LIMIT_K = 1.0
"""Evaporation that cools the spot by less than this is slow enough for the next coat [K]."""

RH_CEILING_PCT = 90.0
"""Above this nothing is called fit: the air hardly takes water up [%RH]."""

EQUILIBRIUM_RH_PCT = 60.0
"""Dryness is measured against equilibrium with no damper an air, so that a damp night dries nothing [%RH]."""

DRY_THROUGH_LIMIT = 0.005
"""A shell is dry through with no more water above equilibrium at 60 %RH than this, over its dry mass [-]."""


class MaterialError(ValueError):
    """A coat that cannot be: the message names the coat, the figure and the limit."""


@dataclass(frozen=True)
class CoatKindTraits:
    """What one kind of coat has in common: usual thickness [mm], water a dip brings [kg/m²], diffusivity when
    dry [m²/s], and the fraction that may remain when the next coat goes on [-].
    """

    thickness_mm: float
    water_kg_m2: float
    diffusivity_m2_s: float
    fit_limit: float


KINDS: dict[CoatKind, CoatKindTraits] = {
    # Water 0.2-0.4 kg/m² a backup coat with its stucco (from memory, factor of two); 0.32 and the diffusivity
    # are the centre of the family that follows a published trial (Guerra & Dooley, INCAST, June 2020).
    "backup": CoatKindTraits(1.0, 0.32, 1.0e-8, 0.05),
    # Prime: fine flour and fine stucco, so a thinner coat; all assumed, with the backup coat's diffusivity.
    "prime": CoatKindTraits(0.7, 0.22, 1.0e-8, 0.10),
    # Seal: slurry without stucco over the last backup coat (assumed).
    "seal": CoatKindTraits(0.4, 0.14, 1.0e-8, 0.05),
}

DEFAULT_RECIPE: tuple[CoatKind, ...] = ("prime", "prime", *("backup",) * 7, "seal")
"""Ten coats in all (common practice)."""


def coat_kind(text: str) -> CoatKind:
    """A kind of coat by its name. Raises MaterialError for any other word.

    >>> coat_kind("prime")
    'prime'
    """
    for kind in get_args(CoatKind):
        if text == kind:
            return kind  # type: ignore[no-any-return]
    raise MaterialError(f"coat kind {text!r} is not one of {', '.join(get_args(CoatKind))}")


@dataclass(frozen=True)
class CoatMaterial:
    """One coat as it goes on.

    thickness_m: its dry thickness [m].
    water_kg_m2: the water its dip brings [kg/m²].
    saturation_kg_m3: the water that fills its pores [kg/m³].
    diffusivity_m2_s: diffusivity when dry; it grows as exp(b S) with the saturation S [m²/s].
    dry_kg_m2: its dry mass [kg/m²].
    """

    kind: CoatKind
    thickness_m: float
    water_kg_m2: float
    saturation_kg_m3: float
    diffusivity_m2_s: float
    dry_kg_m2: float

    @property
    def fresh_saturation(self) -> float:
        """Saturation of the coat as it goes on [-], at most 1."""
        return self.water_kg_m2 / (self.thickness_m * self.saturation_kg_m3)


def coat(kind: str, thickness_mm: float | None = None, water_kg_m2: float | None = None) -> CoatMaterial:
    """A coat of a recipe: what is not given is the kind's usual figure.

    The pores are at least as large as the water they took: a coat wetter than `SATURATION_KG_M3` is a more
    porous one. Raises MaterialError when the kind is unknown or a figure is out of range.

    >>> coat("backup").fresh_saturation.__round__(3)
    0.914
    >>> coat("prime", thickness_mm=40)
    Traceback (most recent call last):
    ...
    server.drying.materials.MaterialError: prime coat: thickness 40 mm is outside 0.05 to 10 mm
    """
    name = coat_kind(kind)
    traits = KINDS[name]
    thickness = traits.thickness_mm if thickness_mm is None else thickness_mm
    water = traits.water_kg_m2 * (thickness / traits.thickness_mm) if water_kg_m2 is None else water_kg_m2
    if not 0.05 <= thickness <= 10.0:
        raise MaterialError(f"{name} coat: thickness {thickness:g} mm is outside 0.05 to 10 mm")
    porosity = water / (thickness * 1e-3)
    if not 70.0 <= porosity <= 900.0:
        raise MaterialError(
            f"{name} coat: water {water:g} kg/m² in {thickness:g} mm is {porosity:g} kg/m³, "
            "outside 70 to 900 kg/m³"
        )
    return CoatMaterial(
        kind=name,
        thickness_m=thickness * 1e-3,
        water_kg_m2=water,
        saturation_kg_m3=max(SATURATION_KG_M3, porosity),
        diffusivity_m2_s=traits.diffusivity_m2_s,
        dry_kg_m2=DRY_KG_M2_MM * thickness,
    )


def fit_limit(kind: str) -> float:
    """The fraction of a dip's water that may remain when the next coat goes on [-].

    >>> fit_limit("prime"), fit_limit("backup")
    (0.1, 0.05)
    """
    return KINDS[coat_kind(kind)].fit_limit


def equilibrium_saturation(
    rh_pct: float, limit: float = SORPTION_LIMIT, power: float = SORPTION_POWER
) -> float:
    """Saturation a coat comes to in air of that humidity, left long enough [-].

    >>> round(equilibrium_saturation(50.0), 4)
    0.0206
    """
    activity = min(max(rh_pct / 100.0, 0.0), 1.0)
    return float(limit * (1.0 - (1.0 - activity) ** (1.0 / power)))


BY_KIND = ("water", "diffusivity", "rewetting")
"""Figures that may differ by the kind of coat: (M,) for all kinds alike, or (M, 3), see `kind_column`."""


def kind_column(kind: CoatKind) -> int:
    """Which column of a figure by kind holds that kind of coat.

    >>> kind_column("backup")
    1
    """
    return get_args(CoatKind).index(kind)


def _one(value: float) -> Floats:
    return np.array([value])


@dataclass(frozen=True, eq=False)
class Members:
    """One value a member (M,): every spot is reckoned once for each member.

    air_speed: factor on the place's air speed [-].
    film_spread: standard deviation of the film's logarithm over a face [-].
    water: factor on the water a dip brings [-], (M,) or by kind (M, 3).
    diffusivity: factor on the diffusivity when dry [-], (M,) or by kind (M, 3).
    exponent: b of exp(b S), one for all coats of a member [-].
    rewetting: how much more slowly water moves inward in a coat that has dried once [-], 1 to 3000, (M,) or
        by kind (M, 3).
    joint_layer: factor on the thickness of the air layer over a joint [-].
    fillet: factor on the fillet's radius [-]; the same for all, for members share a joint's cells.
    lee: where in the film's spread joints and pockets lie, a standard normal deviate [-]: below 0 in the lee.
    temp_k, rh_pct: what the sensors' readings are to be corrected by [K], [%RH].
    """

    air_speed: Floats
    film_spread: Floats
    water: Floats
    diffusivity: Floats
    exponent: Floats
    rewetting: Floats
    joint_layer: Floats
    fillet: Floats
    lee: Floats = field(default_factory=lambda: np.array([-SLOW_Z]))
    temp_k: Floats = field(default_factory=lambda: np.zeros(1))
    rh_pct: Floats = field(default_factory=lambda: np.zeros(1))

    def __post_init__(self) -> None:
        # What is not given is the middle of what is believed, for every member alike.
        for name in ("lee", "temp_k", "rh_pct"):
            values = getattr(self, name)
            if values.size == 1 and self.count > 1:
                object.__setattr__(self, name, np.repeat(values, self.count))

    @property
    def count(self) -> int:
        """How many members there are."""
        return int(self.air_speed.size)

    def by_coat(self, name: str, coats: Sequence[CoatMaterial]) -> Floats:
        """A figure of `BY_KIND` for each of these coats, (M, coats).

        >>> CENTRE.by_coat("water", [coat("prime"), coat("backup")])
        array([[1., 1.]])
        """
        values: Floats = getattr(self, name)
        if values.ndim == 1:
            return np.repeat(values[:, None], len(coats), axis=1)
        return np.asarray(values[:, [kind_column(coat.kind) for coat in coats]])

    def take(self, which: ArrayLike) -> "Members":
        """These members, by index, in that order; one may be taken more than once."""
        index = np.asarray(which, dtype=np.int64)
        return Members(**{item.name: getattr(self, item.name)[index] for item in fields(self)})


CENTRE = Members(
    air_speed=_one(1.0),
    film_spread=_one(0.7),
    water=_one(1.0),
    diffusivity=_one(1.0),
    exponent=_one(3.0),
    rewetting=_one(1.0),
    joint_layer=_one(1.0),
    fillet=_one(1.0),
)
"""One member at the middle of what is believed, its joints and pockets at the slow tenth of the film.

The film's spread (0.7), fast capillary flow (D0 1e-8 m²/s, b 3) and coats that drink again freely are the
centre of the family that follows the published trial; tests/drying/test_trial.py says how well. A joint or a
pocket is judged as a face is, at the slow tenth: a vent joint in the lee must not be called dry by the air to
windward.
"""
