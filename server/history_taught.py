"""What the history teaches: how long coats took, which spots were last, how forecasts did. Pure.

"Took" is from the dip to when the judge called the coat fit, with the air as it came: no stopwatch. A coat
that was dipped over before it was fit counts as unfit, not as quick.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from statistics import median

from scheduler.forecast import Quantiles
from sensors.clock import SECOND_MS, Millis

QUARTERS = ("January to March", "April to June", "July to September", "October to December")


@dataclass(frozen=True)
class PastCoat:
    """A coat that is over: of which recipe, where and when it dried, and how it went.

    `fit_at` is when it was called fit by as many as it takes [ms], None where it never was before the next
    coat; `middle_at` when the middle member had; `foretold` what was forecast at the dip, None where nothing
    was; `slowest` the name of the spot that came last, or was wettest.
    """

    recipe: str
    place: str
    number: int
    kind: str
    dipped_at: Millis
    fit_at: Millis | None
    middle_at: Millis | None
    slowest: str | None
    foretold: Quantiles | None = None


@dataclass(frozen=True)
class Took:
    """How long one coat of a recipe took: of `count` that came fit, quickest, middle and longest [ms]."""

    number: int
    kind: str
    count: int
    quickest: Millis
    middle: Millis
    longest: Millis
    unfit: int


@dataclass(frozen=True)
class Season:
    """The coats of one recipe in one place in one quarter of the year, of all years together."""

    recipe: str
    place: str
    quarter: int
    coats: tuple[Took, ...]
    slowest: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Kept:
    """A forecast held against what came: how long after the dip, by the forecast and as judged [ms]."""

    foretold: Millis
    came: Millis
    within: bool


@dataclass(frozen=True)
class ForecastsHeld:
    """The forecasts that can be held against what came, and how many cannot, with the reason.

    no_end: none was foretold to come fit; unfit: the next coat came before it was fit.
    """

    points: tuple[Kept, ...]
    no_end: int = 0
    unfit: int = 0

    @property
    def share_within(self) -> float | None:
        """Share that came between percentiles 10 and 90 of its forecast [-]; 0.8 if they are honest."""
        return sum(one.within for one in self.points) / len(self.points) if self.points else None

    @property
    def median_off(self) -> float | None:
        """The middle of how far off the forecasts' middles were, over what came [-]."""
        off = [abs(one.foretold - one.came) / one.came for one in self.points if one.came > 0]
        return median(off) if off else None


def seasons(coats: Iterable[PastCoat], zone: tzinfo) -> tuple[Season, ...]:
    """How long coats took, by recipe, place and quarter of the shop's year; slow spots, commonest first."""
    groups: dict[tuple[str, str, int], list[PastCoat]] = {}
    for coat in coats:
        month = datetime.fromtimestamp(coat.dipped_at / SECOND_MS, zone).month
        groups.setdefault((coat.recipe, coat.place, (month - 1) // 3), []).append(coat)
    return tuple(
        Season(recipe, place, quarter, _by_number(group), _commonest(group))
        for (recipe, place, quarter), group in sorted(groups.items())
    )


def forecasts_held(coats: Iterable[PastCoat]) -> ForecastsHeld:
    """Every forecast made at a dip against when the coat was judged fit."""
    points, no_end, unfit = [], 0, 0
    for coat in coats:
        said = coat.foretold
        if said is None:
            continue
        if said.p50 is None:
            no_end += 1
        elif coat.middle_at is None:
            unfit += 1
        else:
            low, high = said.p10 or coat.dipped_at, said.p90
            within = low <= coat.middle_at and (high is None or coat.middle_at <= high)
            points.append(Kept(said.p50 - coat.dipped_at, coat.middle_at - coat.dipped_at, within))
    return ForecastsHeld(tuple(points), no_end, unfit)


def _by_number(group: Sequence[PastCoat]) -> tuple[Took, ...]:
    found = []
    for number in sorted({coat.number for coat in group}):
        mine = [coat for coat in group if coat.number == number]
        took = sorted(coat.fit_at - coat.dipped_at for coat in mine if coat.fit_at is not None)
        quickest, longest = (took[0], took[-1]) if took else (0, 0)
        middle = round(median(took)) if took else 0
        unfit = len(mine) - len(took)
        found.append(Took(number, mine[0].kind, len(took), quickest, middle, longest, unfit))
    return tuple(found)


def _commonest(group: Sequence[PastCoat]) -> tuple[tuple[str, int], ...]:
    return tuple(Counter(coat.slowest for coat in group if coat.slowest).most_common(3))
