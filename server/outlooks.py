"""From a judged tree to what is said of it: the state, its reason, the slow spot, and when it comes fit."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.forecast import NEVER, Outlook, Quantiles, State
from sensors.air import BLOCK_MS, Air
from sensors.clock import HOUR_MS, MINUTE_MS, Millis
from server.coat_verdicts import coat_verdicts, last_spot, was_fit
from server.drying.ensemble import Ensemble
from server.drying.materials import COOLING_LIMIT_K, RH_CEILING_PCT, fit_limit
from server.drying.transfer import HIGHEST_TEMP_C, LOWEST_TEMP_C, covers
from server.drying.verdict import Ahead, fit_by_member
from server.drying.warning_limits import DEFAULT_LIMITS, WarningLimits
from server.judging import Floats, TreeJudge
from server.stays import AirRecord, where
from server.store.values import Tree
from server.tree_record import NOT_YET, Committed, Times
from server.verdicts import AirPoint, Band, Curve, SpotVerdict, TreeVerdict


@dataclass(frozen=True)
class Forecast:
    """What is ahead of each spot, from a committed state in air that goes on as it was then.

    `curves` and `bands` are those of each spot, as a verdict says them: worked out once, not at each verdict.
    """

    made_at: Millis
    spots: tuple[Ahead, ...]
    curves: tuple[Curve, ...]
    bands: tuple[Band, ...]


@dataclass(frozen=True)
class Situation:
    """What is known at one moment, for one verdict.

    `heard` is the time of the place's newest air, and `air` what it is, if any; `nodes` are those that ever
    told of it.
    """

    now: Millis
    heard: Millis | None
    air: Air | None
    gap_limit: Millis
    limits: WarningLimits = DEFAULT_LIMITS
    nodes: tuple[str, ...] = ()

    @property
    def air_missing(self) -> bool:
        """Whether the air has been unknown for longer than is allowed."""
        return self.heard is None or self.now - self.heard > self.gap_limit

    @property
    def beyond(self) -> Air | None:
        """The newest air, where the model does not cover it."""
        return self.air if self.air is not None and not covers(self.air) else None


class BlockMeans:
    """The mean air of blocks of ten minutes, each worked out once for all trees that hung in one place then.

    It knows nothing of readings that come later: make one for each picture.
    """

    def __init__(self) -> None:
        self._known: dict[tuple[AirRecord, Millis], AirPoint] = {}

    def point(self, air: AirRecord, at: Millis) -> AirPoint:
        """The mean air over the block that begins `at` [ms]."""
        place = where(air, at + BLOCK_MS // 2)
        known = self._known.get((place, at))
        if known is None:
            mean = place.mean(at, at + BLOCK_MS)
            known = AirPoint(at, mean.temp_c, mean.rh_pct) if mean else AirPoint(at, None, None)
            self._known[place, at] = known
        return known


def forecast_of(judge: TreeJudge, made_at: Millis, spots: tuple[Ahead, ...]) -> Forecast:
    """A forecast made at `made_at` [ms] of what is ahead of each spot of a tree."""
    levels = (judge.tree.confidence, 0.1, 0.9)
    curves, bands = [], []
    for ahead in spots:
        likely, low, high = ahead.curves(judge.ensemble, levels)
        times = [made_at + round(seconds * 1000) for seconds, _ in likely]
        curves.append(tuple((at, left) for at, (_, left) in zip(times, likely, strict=True)))
        bands.append(tuple((at, a, b) for at, (_, a), (_, b) in zip(times, low, high, strict=True)))
    return Forecast(made_at, spots, tuple(curves), tuple(bands))


def judge_tree(
    tree: Tree, judge: TreeJudge, forecast: Forecast | None, situation: Situation, means: BlockMeans
) -> TreeVerdict:
    """Everything that can be said of a tree now; `means` are shared with the other trees of a picture."""
    state = judge.state
    pending = len(judge.dips) - (0 if state is None else len(state.coats))
    spots = () if state is None or pending else _spots(judge, state, forecast)
    outlook = _outlook(tree, judge, spots, forecast, situation)
    coats = () if state is None else coat_verdicts(judge.tree, state.coats, judge.ensemble, situation.limits)
    start = judge.dips[-1].at if judge.dips else situation.now - 12 * HOUR_MS
    return TreeVerdict(
        outlook=outlook,
        spots=spots,
        coats=coats,
        air=air_points(judge.air, start, situation.now, means),
        warnings=tuple(warning for coat in coats[-1:] for warning in coat.warnings),
        rested=0 if state is None or pending else state.coats[-1].rested_ms,
        rest=judge.tree.rest_ms,
    )


def air_points(
    air: AirRecord, start: Millis, end: Millis, means: BlockMeans, most: int = 240
) -> tuple[AirPoint, ...]:
    """The air from `start` to `end` [ms], in steps of whole blocks, at most about `most` points."""
    step = BLOCK_MS * max(1, -(-(end - start) // (BLOCK_MS * most)))
    return tuple(means.point(air, at) for at in range(start // BLOCK_MS * BLOCK_MS, end, step))


def _spots(judge: TreeJudge, state: Committed, forecast: Forecast | None) -> tuple[SpotVerdict, ...]:
    coat = state.coats[-1]
    kind = coat.dip.material.kind
    verdicts = []
    for index, ((code, name), shell) in enumerate(zip(judge.tree.spots, state.shells, strict=True)):
        called = coat.spot_fit_at[index]
        by_member = coat.member_fit_at[1 + index]
        ahead = forecast.spots[index] if forecast is not None else None
        verdicts.append(
            SpotVerdict(
                code=code,
                name=name,
                remaining=judge.sure(shell.remaining()),
                water_left=judge.ensemble.mean(shell.water_left()),
                cooling_k=judge.sure(shell.cooling_k()),
                temp_c=judge.ensemble.mean(shell.temp_c),
                limit=fit_limit(kind),
                fit=called is not None
                and state.air is not None
                and judge.ensemble.enough(fit_by_member(shell, state.air, kind), judge.tree.confidence),
                fit_at=was_fit(by_member, called, judge.ensemble)
                if called is not None
                else _will_be(by_member, forecast, ahead, judge.ensemble),
                curve=state.curves[index],
                ahead=() if forecast is None else forecast.curves[index],
                wetness=tuple(judge.ensemble.mean(wet) for wet in shell.coat_wetness().T),
                over_dry=judge.sure(shell.shell_water_fraction()),
                over_dry_mean=judge.ensemble.mean(shell.shell_water_fraction()),
                band=state.bands[index],
                band_ahead=() if forecast is None else forecast.bands[index],
            )
        )
    return tuple(verdicts)


def _at(time: Millis | None) -> Quantiles:
    return NEVER if time is None else Quantiles(time, time, time)


def _will_be(
    by_member: Times, forecast: Forecast | None, ahead: Ahead | None, ensemble: Ensemble
) -> Quantiles:
    if forecast is None or ahead is None:
        return NEVER
    return _times(by_member, forecast.made_at + np.rint(1000.0 * ahead.fit_s), ensemble)


def _times(by_member: Times, expected: Floats, ensemble: Ensemble) -> Quantiles:
    """When it is fit, by the members: when it was, or else when that is expected [ms]; infinite is never."""
    times = np.where(by_member == NOT_YET, expected, by_member)
    return Quantiles(*(None if np.isinf(at) else round(at) for at in ensemble.spread(times)))


def _slowest(judge: TreeJudge, spots: Sequence[SpotVerdict], forecast: Forecast | None) -> int | None:
    if not spots or judge.state is None:
        return None
    # Members that called the whole tree fit already wait for no spot any more.
    waiting = judge.state.coats[-1].member_fit_at[0] == NOT_YET

    def lateness(index: int) -> tuple[float, float]:
        spot = spots[index]
        seconds = 0.0
        if forecast is not None and not spot.fit:
            seconds = judge.sure(np.where(waiting, forecast.spots[index].fit_s, 0.0))
        return (seconds, spot.remaining / spot.limit)

    return max(range(len(spots)), key=lateness)


def _outlook(
    tree: Tree,
    judge: TreeJudge,
    spots: tuple[SpotVerdict, ...],
    forecast: Forecast | None,
    situation: Situation,
) -> Outlook:
    dips = judge.dips
    kind = dips[-1].material.kind if dips else tree.recipe.coats[0].kind
    state = judge.state
    coat = state.coats[-1] if state is not None and len(state.coats) == len(dips) else None
    slowest = (
        last_spot(coat) if coat is not None and coat.fit_at is not None else _slowest(judge, spots, forecast)
    )
    word, fit_at = _state(tree, judge, forecast, situation)
    spot = spots[slowest] if slowest is not None and spots else None
    return Outlook(
        tree_id=tree.id,
        label=tree.label,
        hook=tree.hook,
        place=tree.place,
        coat=dips[-1].number if dips else 0,  # a patch is no further coat
        of=len(tree.recipe.coats),
        kind=kind,
        state=word,
        slowest_spot=spot.code if spot else None,
        slowest_name=spot.name if spot else None,
        remaining=spot.remaining if spot else None,
        fit_at=fit_at,
        reason=_reason(word, tree, spots, spot, state, situation),
        as_of=state.at if state is not None else situation.now,
        dipped_at=dips[-1].at if dips else None,
        next_kind=tree.recipe.coats[len(dips)].kind if len(dips) < len(tree.recipe.coats) else None,
        unsure_since=situation.heard if word == "unsure" else None,
    )


def _state(
    tree: Tree, judge: TreeJudge, forecast: Forecast | None, situation: Situation
) -> tuple[State, Quantiles]:
    if tree.left == "cleared":
        return "cleared", NEVER
    if tree.left == "scrapped":
        return "scrapped", NEVER
    if not judge.dips:
        return "new", NEVER
    last = len(judge.dips) >= judge.tree.coats_in_all
    state = judge.state
    coat = state.coats[-1] if state is not None and len(state.coats) == len(judge.dips) else None
    if coat is not None and not last and coat.fit_at is not None:
        return "fit", was_fit(coat.member_fit_at[0], coat.fit_at, judge.ensemble)
    if situation.air_missing or situation.beyond is not None:
        return "unsure", NEVER
    if coat is not None and last and coat.through_at is not None:
        return "through", _at(coat.through_at)
    word: State = "resting" if last else "drying"
    if forecast is None or not forecast.spots or coat is None:
        return word, NEVER
    seconds = np.max([ahead.fit_s for ahead in forecast.spots], axis=0)
    expected = forecast.made_at + np.rint(1000.0 * seconds)
    if not last:
        return word, _times(coat.member_fit_at[0], expected, judge.ensemble)
    expected += judge.tree.rest_ms - coat.rested_ms
    return word, _times(np.full_like(coat.member_fit_at[0], NOT_YET), expected, judge.ensemble)


def _reason(
    word: State,
    tree: Tree,
    spots: tuple[SpotVerdict, ...],
    spot: SpotVerdict | None,
    state: Committed | None,
    situation: Situation,
) -> str:
    beyond = situation.beyond
    if word == "new":
        return "No coat is on yet."
    if word == "unsure":
        if situation.heard is None and situation.nodes:
            names = " and ".join(situation.nodes)
            return f"What {names} says of the air at {tree.place} cannot be believed; the page Air says why."
        if situation.heard is None:
            return f"No node has told the air at {tree.place} yet."
        if not situation.air_missing and beyond is not None:
            return (
                f"The air at {tree.place}, {beyond.temp_c:.0f} °C, is outside what the model covers, "
                f"{LOWEST_TEMP_C:g} to {HIGHEST_TEMP_C:g} °C."
            )
        minutes = (situation.now - situation.heard) // MINUTE_MS
        limit = situation.gap_limit // MINUTE_MS
        look = f" Look at {' and '.join(situation.nodes)}." if situation.nodes else ""
        return (
            f"The air at {tree.place} has not been known for {minutes} min; the limit is {limit} min.{look}"
        )
    if word in ("cleared", "scrapped"):
        return f"It was {word} and is off the rack."
    if spot is None:
        return "The latest dip is being taken in."
    if word == "fit":
        return f"Every spot came within its limit; the {spot.name} was the last."
    if word == "through":
        return "The whole shell is dry through and has rested; check it before burnout."
    if word == "resting":
        return "The last coat is on; the whole shell has to dry through and rest."
    if state is not None and state.air is not None and state.air.rh_pct > RH_CEILING_PCT:
        return (
            f"The air is at {state.air.rh_pct:.0f} %RH; above {RH_CEILING_PCT:.0f} % no coat is called fit."
        )
    if spot.remaining <= spot.limit and spot.cooling_k >= COOLING_LIMIT_K:
        cooling = f"still cools by {spot.cooling_k:.1f} K as it dries; the limit is {COOLING_LIMIT_K:.0f} K"
        return f"The {spot.name} {cooling}."
    left = f"{spot.remaining:.0%} of the latest dip's water is left"
    return f"{left} at the {spot.name}; the limit is {spot.limit:.0%}."
