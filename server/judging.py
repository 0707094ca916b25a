"""One tree, judged through its record of air and dips. Pure: no store, no clock, no network.

The committed state advances only over blocks of ten minutes aligned to UTC, cut at dips, and only where the
air is settled. So a tree that is followed live, one that is taken up again after a restart and one that is
replayed from a file come to the same numbers, to the bit.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from sensors.air import BLOCK_MS, Air
from sensors.bridging import bridge_of, joined, worst_air
from sensors.clock import SECOND_MS, Millis
from server.courses import courses, with_spread
from server.drying.air_course import AirCourse
from server.drying.ensemble import ALONE, Ensemble
from server.drying.materials import RH_CEILING_PCT
from server.drying.shell import SpotShell
from server.drying.spots import parse_spot
from server.drying.transfer import LOWEST_TEMP_C, covers
from server.drying.verdict import Ahead, dry_by_member, fit_by_member, tree_ahead
from server.drying.warnings import (
    CoatClimate,
    climate_after,
    climate_at_dip,
    has_set,
    shell_warmest_c,
    wax_temp_c,
)
from server.stays import AirRecord, where
from server.tree_record import (
    NOT_YET,
    CoatDip,
    CoatRecord,
    Committed,
    JudgedTree,
    Mark,
    UnreadableStateError,
    mark_of,
)

FORECAST_HORIZON_S = 14 * 24 * 3600.0

Floats = NDArray[np.float64]


@dataclass
class TreeJudge:
    """Follows one tree: `advance` as far as the air is settled, `rewind` where the past was otherwise."""

    tree: JudgedTree
    dips: tuple[CoatDip, ...]
    air: AirRecord
    state: Committed | None = None
    marks: list[Mark] = field(default_factory=list)
    """The states just after each dip, to go back to."""
    ensemble: Ensemble = ALONE

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
        self.rewind_to_mark()

    def rewind_to_mark(self) -> None:
        """Go back to the newest mark that can be read."""
        self.state = None
        while self.marks and self.state is None:
            try:
                self.state = self.marks[-1].state
            except UnreadableStateError:
                self.marks.pop()

    def say_dips(self, dips: Sequence[CoatDip]) -> None:
        """Take the dips as they are now known, and go back as far as they differ from what was known."""
        same = 0
        for old, new in zip(self.dips, dips, strict=False):
            if (old.at, old.material, old.spot) != (new.at, new.material, new.spot):
                break
            same += 1
        changed = [dip.at for dip in (*self.dips[same:], *dips[same:])]
        self.dips = tuple(dips)
        if changed:
            self.rewind(min(changed) - 1)

    def believe(self, ensemble: Ensemble) -> None:
        """Judge by other members or other weights: all of it anew, from the first dip."""
        if ensemble.key != self.ensemble.key:
            self.ensemble = ensemble
            self.marks.clear()
            self.state = None

    def ahead(self, course: AirCourse | None = None) -> tuple[Ahead, ...]:
        """For each spot, when it is fit (last coat: dry) in the air of a course; () without air.

        Without a course the air goes on as it was.
        """
        if self.state is None or self.state.air is None:
            return ()
        last = len(self.state.coats) >= self.tree.coats_in_all
        return tree_ahead(
            self.state.shells,
            self.state.air,
            self.ensemble,
            FORECAST_HORIZON_S,
            last,
            settled=None if last else self.state.coats[-1].member_fit_at[0] != NOT_YET,
            confidence=self.tree.confidence,
            course=course,
            dry_limit=self.tree.dry_limit,
        )

    def sure(self, values: Floats) -> float:
        """What the members that it takes to call a coat fit stay within: a quantile of (M,) values."""
        return self.ensemble.quantile(values, self.tree.confidence)

    def _bare(self) -> tuple[SpotShell, ...]:
        return tuple(
            SpotShell.bare(parse_spot(code), self.tree.size_mm, members=self.ensemble.members)
            for code, _ in self.tree.spots
        )

    def _next_dip(self) -> CoatDip | None:
        done = 0 if self.state is None else len(self.state.coats)
        return self.dips[done] if done < len(self.dips) else None

    def _dip(self, dip: CoatDip, before: Committed) -> None:
        coats = before.coats
        if coats:
            remaining = [shell.remaining() for shell in before.shells]
            by_spot = [self.sure(left) for left in remaining]
            damp = replace(
                coats[-1],
                damp_at_next=self.sure(np.max(remaining, axis=0)),
                damp_spot=by_spot.index(max(by_spot)),
                left_at_next=tuple(by_spot),
                courses=courses(before.curves, before.bands),
            )
            coats = (*coats[:-1], damp)
        shells = tuple(
            shell.dip(dip.material) if dip.spot in (None, code) else shell
            for (code, _), shell in zip(self.tree.spots, before.shells, strict=True)
        )
        fits = np.full((1 + len(shells), self.ensemble.count), NOT_YET, dtype=np.int64)
        climate = climate_at_dip(dip.number, wax_temp_c(before.shells), coats[-1].climate if coats else None)
        record = CoatRecord(dip, fits, spot_fit_at=(None,) * len(shells), climate=climate)
        curves = tuple(((dip.at, self.sure(shell.remaining())),) for shell in shells)
        bands = with_spread((), dip.at, shells, self.ensemble)
        state = Committed(dip.at, shells, (*coats, record), curves, before.air, bands)
        self.state = state
        self.marks.append(mark_of(state))

    def _over(self, state: Committed, end: Millis) -> Committed:
        air = self.air.mean(state.at, end)
        if air is not None and not covers(air):
            # Frozen or scorching air is as good as none: the model does not guess what it does to a shell.
            air = None
        seconds = (end - state.at) / SECOND_MS
        assumed = air if air is not None else self._bridging(state.at, end)
        shells = tuple(shell.advance(assumed, seconds) for shell in state.shells)
        coat = state.coats[-1]
        if air is None:
            # The coat goes on drying in the worst air of that hour, and nothing is called fit by a guess.
            gaps = (*coat.gaps, (state.at, end))
            if len(gaps) > 1 and gaps[-2][1] == gaps[-1][0]:
                gaps = (*gaps[:-2], (gaps[-2][0], end))
            bridges = coat.bridges
            if assumed is not None:
                bridges = joined(bridges, bridge_of(state.at, end, assumed))
            coat = replace(coat, gaps=gaps, bridges=bridges)
        else:
            coat = self._judged(coat, shells, air, state.at, end)
        curves = tuple(
            (*curve, (end, self.sure(shell.remaining())))
            for curve, shell in zip(state.curves, shells, strict=True)
        )
        bands = with_spread(state.bands, end, shells, self.ensemble)
        return Committed(end, shells, (*state.coats[:-1], coat), curves, air, bands)

    def _bridging(self, start: Millis, end: Millis) -> Air | None:
        air = worst_air(where(self.air, (start + end) // 2), start, end, LOWEST_TEMP_C)
        return air if air is not None and covers(air) else None

    def _judged(
        self, coat: CoatRecord, shells: tuple[SpotShell, ...], air: Air, start: Millis, end: Millis
    ) -> CoatRecord:
        kind = coat.dip.material.kind
        by_spot = np.stack([fit_by_member(shell, air, kind) for shell in shells])
        # Fit is for the whole tree at once, and stays until the next dip: no flip-flop in a damp night.
        fit_now = np.vstack([by_spot.all(axis=0), by_spot])
        member_fit_at = np.where((coat.member_fit_at == NOT_YET) & fit_now, end, coat.member_fit_at)
        fit_at, *spot_fit_at = (
            at if at is not None else (end if self._enough(fits != NOT_YET) else None)
            for at, fits in zip((coat.fit_at, *coat.spot_fit_at), member_fit_at, strict=True)
        )
        rested, through_at = coat.rested_ms, None
        last = coat.dip.number >= self.tree.coats_in_all
        dry = np.all([dry_by_member(shell, self.tree.dry_limit) for shell in shells], axis=0)
        if last and air.rh_pct <= RH_CEILING_PCT and self._enough(dry):
            rested += end - start
            if rested >= self.tree.rest_ms:
                through_at = coat.through_at if coat.through_at is not None else end
        return replace(
            coat,
            member_fit_at=member_fit_at,
            spot_fit_at=tuple(spot_fit_at),
            fit_at=fit_at,
            rested_ms=rested,
            through_at=through_at,
            climate=self._climate(coat, shells, air, (end - start) / SECOND_MS),
        )

    def _climate(
        self, coat: CoatRecord, shells: tuple[SpotShell, ...], air: Air, seconds: float
    ) -> CoatClimate:
        wax = wax_temp_c(shells)
        if wax is None:
            return coat.climate
        drying = coat.fit_at is None
        setting, warmest = has_set(shells, air), shell_warmest_c(shells)
        return climate_after(coat.climate, coat.dip.number, air, wax, setting, drying, seconds, warmest)

    def _enough(self, holds: NDArray[np.bool_]) -> bool:
        return self.ensemble.enough(holds, self.tree.confidence)
