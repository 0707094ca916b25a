"""How coats went, as it goes over the wire."""

from datetime import datetime

from pydantic import BaseModel

from server.api.rack import fit_at
from server.api.schemas import AirShape, DipShape, FitAt, GapShape, maybe_datetime, to_datetime
from server.burnout_check import CoatWent


class SpotLeftShape(BaseModel):
    """What remained at a spot when the next coat came [-]."""

    name: str
    remaining: float


class SeenAirShape(BaseModel):
    """The air a coat dried in until it was fit: mean and extremes; null where none was known."""

    temp_mean_c: float | None
    temp_low_c: float | None
    temp_high_c: float | None
    rh_mean_pct: float | None
    rh_low_pct: float | None
    rh_high_pct: float | None
    fastest_m_s: float | None
    known_h: float


class AssumedShape(GapShape):
    """A stretch of a gap in the air, and the worst air that was assumed in it."""

    lowest_temp_c: float
    highest_rh_pct: float


class CoatWentShape(BaseModel):
    """One coat as it went, or a patch at one spot (`patch`): times, verdict, air, what was left, warnings.

    `recorded_at` is when that was written down, null where it is as judged now; `later` says what is judged
    of it now where that differs. coldest_c and warmest_c are the coldest wax and the warmest shell.
    """

    number: int
    kind: str
    dip: int
    dipped_at: datetime
    fit_at: FitAt
    slowest_spot: str | None
    damp_at_next: float | None
    warnings: list[str]
    pot: str | None
    note: str | None
    patch: str | None
    prewet: bool
    partial: bool
    next_at: datetime | None
    left_at_next: list[SpotLeftShape]
    air_seen: SeenAirShape
    coldest_c: float | None
    warmest_c: float | None
    unknown_air: list[GapShape]
    assumed: list[AssumedShape]
    recorded_at: datetime | None
    later: str


class CoatHistory(CoatWentShape):
    """The same with the air record of its time, and where that has gaps now."""

    air: list[AirShape]
    gaps: list[GapShape]


class HistoryAnswer(BaseModel):
    """Every coat of a tree, and every dip that was said, undone ones too."""

    id: int
    label: str
    coats: list[CoatHistory]
    dips: list[DipShape]


def coat_shape(went: CoatWent) -> CoatWentShape:
    """A coat as it went, as it goes over the wire."""
    coat, seen = went.verdict, went.verdict.climate
    return CoatWentShape(
        number=coat.number,
        kind=coat.kind,
        dip=max(coat.dip_id, 0),
        dipped_at=to_datetime(coat.dipped_at),
        fit_at=fit_at(coat.fit_at),
        slowest_spot=coat.slowest_spot,
        damp_at_next=coat.damp_at_next,
        warnings=list(coat.warnings),
        pot=coat.pot,
        note=coat.note,
        patch=coat.patch,
        prewet=went.prewet,
        partial=went.partial,
        next_at=maybe_datetime(went.until),
        left_at_next=[SpotLeftShape(name=name, remaining=left) for name, left in coat.left_at_next],
        air_seen=SeenAirShape(
            temp_mean_c=seen.temp_mean_c,
            temp_low_c=seen.air_low_c,
            temp_high_c=seen.air_high_c,
            rh_mean_pct=seen.rh_mean_pct,
            rh_low_pct=seen.rh_low_pct,
            rh_high_pct=seen.rh_high_pct,
            fastest_m_s=seen.fastest_m_s,
            known_h=seen.known_s / 3600.0,
        ),
        coldest_c=seen.coldest_c,
        warmest_c=seen.warmest_c,
        unknown_air=[
            GapShape.model_validate({"from": to_datetime(start), "to": to_datetime(end)})
            for start, end in coat.gaps
        ],
        assumed=[
            AssumedShape.model_validate(
                {
                    "from": to_datetime(one.start),
                    "to": to_datetime(one.end),
                    "lowest_temp_c": one.lowest_temp_c,
                    "highest_rh_pct": one.highest_rh_pct,
                }
            )
            for one in coat.bridges
        ],
        recorded_at=maybe_datetime(went.kept_at),
        later=went.later,
    )
