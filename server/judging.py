"""One tree, judged through its record of air and dips. Pure: no store, no clock, no network.

The committed state advances only over blocks of ten minutes aligned to UTC, cut at dips, and only where the
air is settled. So a tree that is followed live, one that is taken up again after a restart and one that is
replayed from a file come to the same numbers, to the bit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from scheduler.forecast import NEVER, Quantiles
from sensors.air import BLOCK_MS, Air, PlaceAir
from sensors.clock import HOUR_MS, SECOND_MS, Millis
from server.drying.materials import CoatMaterial
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.transfer import covers
from server.drying.verdict import Ahead, is_dry_through, is_fit, time_to_fit
from server.verdicts import CoatVerdict, Curve

REST_MS = 24 * HOUR_MS
"""How long a dry shell rests after its last coat before it is called dry through: common practice, a day."""

FORECAST_HORIZON_S = 14 * 24 * 3600.0


@dataclass(frozen=True)
class CoatDip:
    """A dip as the model needs it: the coat's number from 1, its material, when its stucco was on."""

    number: int
    material: CoatMaterial
    at: Millis
    dip_id: int = 0
    pot: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class JudgedTree:
    """What the model needs to know of a tree; `spots` are (code, the caster's words)."""

    label: str
    size_mm: float
    spots: tuple[tuple[str, str], ...]
    coats_in_all: int
    rest_ms: Millis = REST_MS


@dataclass(frozen=True)
class CoatRecord:
    """How one coat went, so far."""

    dip: CoatDip
    fit_at: Millis | None = None
    spot_fit_at: tuple[Millis | None, ...] = ()
    through_at: Millis | None = None
    rested_ms: Millis = 0
    damp_at_next: float | None = None
    damp_spot: int | None = None
    gaps: tuple[tuple[Millis, Millis], ...] = ()


@dataclass(frozen=True)
class Committed:
    """The state of a tree at the end of a block or just after a dip: enough to go on from, no more."""

    at: Millis
    shells: tuple[SpotShell, ...]
    coats: tuple[CoatRecord, ...]
    curves: tuple[Curve, ...]
    air: Air | None
    """The air of the last settled block; None after a gap or where none is known yet."""


@dataclass
class TreeJudge:
    """Follows one tree: `advance` as far as the air is settled, `rewind` where the past was otherwise."""

    tree: JudgedTree
    dips: tuple[CoatDip, ...]
    air: PlaceAir
    state: Committed | None = None
    marks: list[Committed] = field(default_factory=list)
    """The states just after each dip, to go back to."""

    def advance(self, until: Millis) -> bool:
        """Commit every block that ended by `until` [ms] and whose air is settled; True if there was any."""
        moved = False
        known = self.air.known_until()
        if self.state is None:
            if not self.dips or self.dips[0].at > until:
                return False
            self._dip(self.dips[0], Committed(self.dips[0].at, self._bare(), (), (), None))
            moved = True
        while self.state is not None:
            upcoming = self._next_dip()
            end = (self.state.at // BLOCK_MS + 1) * BLOCK_MS
            if upcoming is not None and upcoming.at < end:
                end = upcoming.at
            if end > until or (end > self.state.at and (known is None or known < end)):
                return moved
            if end > self.state.at:
                self.state = self._over(self.state, end)
            if upcoming is not None and upcoming.at == end:
                self._dip(upcoming, self.state)
            moved = True
        return moved

    def rewind(self, time: Millis) -> None:
        """Forget what was committed after `time` [ms]: the air or the dips since are not what they were."""
        if self.state is None or self.state.at <= time:
            return
        while self.marks and self.marks[-1].at > time:
            self.marks.pop()
        self.state = self.marks[-1] if self.marks else None

    def say_dips(self, dips: Sequence[CoatDip]) -> None:
        """Take the dips as they are now known, and go back as far as they differ from what was known."""
        same = 0
        for old, new in zip(self.dips, dips, strict=False):
            if (old.at, old.material) != (new.at, new.material):
                break
            same += 1
        changed = [dip.at for dip in (*self.dips[same:], *dips[same:])]
        self.dips = tuple(dips)
        if changed:
            self.rewind(min(changed) - 1)

    def ahead(self) -> tuple[Ahead, ...]:
        """For each spot, when it is fit (last coat: dry) if the air goes on as it was; () without air."""
        if self.state is None or self.state.air is None:
            return ()
        air = self.state.air
        last = len(self.state.coats) >= self.tree.coats_in_all
        return tuple(
            time_to_fit(shell, air, FORECAST_HORIZON_S, last_coat=last) for shell in self.state.shells
        )

    def _bare(self) -> tuple[SpotShell, ...]:
        return tuple(SpotShell.bare(parse_spot(code), self.tree.size_mm) for code, _ in self.tree.spots)

    def _next_dip(self) -> CoatDip | None:
        done = 0 if self.state is None else len(self.state.coats)
        return self.dips[done] if done < len(self.dips) else None

    def _dip(self, dip: CoatDip, before: Committed) -> None:
        coats = before.coats
        if coats:
            remaining = [float(shell.remaining()[0]) for shell in before.shells]
            worst = max(range(len(remaining)), key=remaining.__getitem__)
            coats = (*coats[:-1], replace(coats[-1], damp_at_next=remaining[worst], damp_spot=worst))
        shells = tuple(shell.dip(dip.material) for shell in before.shells)
        record = CoatRecord(dip, spot_fit_at=(None,) * len(shells))
        curves = tuple(((dip.at, float(shell.remaining()[0])),) for shell in shells)
        self.state = Committed(dip.at, shells, (*coats, record), curves, before.air)
        self.marks.append(self.state)

    def _over(self, state: Committed, end: Millis) -> Committed:
        air = self.air.mean(state.at, end)
        if air is not None and not covers(air):
            # Frozen or scorching air is as good as none: the model does not guess what it does to a shell.
            air = None
        seconds = (end - state.at) / SECOND_MS
        shells = tuple(shell.advance(air, seconds) for shell in state.shells)
        coat = state.coats[-1]
        if air is None:
            gaps = (*coat.gaps, (state.at, end))
            if len(gaps) > 1 and gaps[-2][1] == gaps[-1][0]:
                gaps = (*gaps[:-2], (gaps[-2][0], end))
            coat = replace(coat, gaps=gaps)
        else:
            coat = self._judged(coat, shells, air, state.at, end)
        curves = tuple(
            (*curve, (end, float(shell.remaining()[0])))
            for curve, shell in zip(state.curves, shells, strict=True)
        )
        return Committed(end, shells, (*state.coats[:-1], coat), curves, air)

    def _judged(
        self, coat: CoatRecord, shells: tuple[SpotShell, ...], air: Air, start: Millis, end: Millis
    ) -> CoatRecord:
        kind = coat.dip.material.kind
        fit_now = [is_fit(shell, air, kind) for shell in shells]
        spot_fit_at = tuple(
            at if at is not None else (end if fit else None)
            for at, fit in zip(coat.spot_fit_at, fit_now, strict=True)
        )
        # Fit is for the whole tree at once, and stays until the next dip: no flip-flop in a damp night.
        fit_at = coat.fit_at if coat.fit_at is not None else (end if all(fit_now) else None)
        rested, through_at = coat.rested_ms, None
        if coat.dip.number >= self.tree.coats_in_all and all(is_dry_through(shell) for shell in shells):
            rested += end - start
            if rested >= self.tree.rest_ms:
                through_at = coat.through_at if coat.through_at is not None else end
        return replace(coat, spot_fit_at=spot_fit_at, fit_at=fit_at, rested_ms=rested, through_at=through_at)


def coat_verdicts(tree: JudgedTree, coats: Sequence[CoatRecord]) -> tuple[CoatVerdict, ...]:
    """The coats as they went, in the words of `server.verdicts`."""
    return tuple(_coat_verdict(tree, coat) for coat in coats)


def last_spot(coat: CoatRecord) -> int | None:
    """Which spot came fit last: an index into the tree's spots; None while any is not fit."""
    times = [at for at in coat.spot_fit_at if at is not None]
    if not times or len(times) < len(coat.spot_fit_at):
        return None
    return max(range(len(times)), key=times.__getitem__)


def _coat_verdict(tree: JudgedTree, coat: CoatRecord) -> CoatVerdict:
    slowest = last_spot(coat) if coat.fit_at is not None else coat.damp_spot
    code, name = tree.spots[slowest] if slowest is not None else (None, None)
    warnings = []
    for start, end in coat.gaps:
        minutes = (end - start) // (60 * SECOND_MS)
        warnings.append(f"The air was not known for {minutes} min; the coat was taken not to dry meanwhile.")
    if coat.damp_at_next is not None and coat.fit_at is None and coat.damp_spot is not None:
        damp_name = tree.spots[coat.damp_spot][1]
        warnings.append(f"The next coat went on while {coat.damp_at_next:.0%} was left at the {damp_name}.")
    fit_at = NEVER if coat.fit_at is None else Quantiles(coat.fit_at, coat.fit_at, coat.fit_at)
    return CoatVerdict(
        number=coat.dip.number,
        kind=coat.dip.material.kind,
        dip_id=coat.dip.dip_id,
        dipped_at=coat.dip.at,
        fit_at=fit_at,
        slowest_spot=code,
        slowest_name=name,
        damp_at_next=coat.damp_at_next,
        warnings=tuple(warnings),
        pot=coat.dip.pot,
        note=coat.dip.note,
    )
