"""The addresses of the next dips, the pour day, and what the caster says of hours and of the coming air."""

from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Response
from fastapi.responses import RedirectResponse

from sensors.air_forecast import AirWord, AirWordError, WordKind
from sensors.clock import HOUR_MS, SECOND_MS, Millis
from server.api.schemas import LARGEST_ID
from server.pages.next_dips import next_dips_page
from server.pages.pour_day import pour_day_page
from server.pages.render import show
from server.parts import Parts
from server.planning import PourDayError, pour_day_said
from server.store import places as place_store
from server.store import plans as plan_store
from server.store.engine import UnknownError
from server.work_hours import WorkHoursError, set_work_hours, work_hours

ADDRESS = "/next"
POUR = ADDRESS + "/pour"

LONGEST_WORD_H = 14 * 24
"""Nobody knows the air further ahead than a fortnight [h]."""


def next_dips_pages(parts: Parts) -> APIRouter:
    """The pages over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get(ADDRESS)
    def page() -> Response:
        return show(next_dips_page(parts))

    @router.get(POUR)
    def pour(buy: Annotated[int | None, Query(ge=1, le=2**53)] = None) -> Response:
        return show(pour_day_page(parts, buy=buy))

    @router.post(POUR)
    def set_pour(
        day: Annotated[str, Form(max_length=10)] = "", hour: Annotated[str, Form(max_length=5)] = "08:00"
    ) -> Response:
        try:
            pour_day_said(parts.engine, parts.clock, _moment(parts, day, hour))
        except PourDayError as fault:
            return show(pour_day_page(parts, str(fault)), 422)
        return RedirectResponse(POUR, status_code=303)

    @router.post(ADDRESS + "/hours")
    def set_hours(
        opens: Annotated[str, Form(max_length=5)],
        day: Annotated[list[int] | None, Form(max_length=7)] = None,
    ) -> Response:
        try:
            set_work_hours(parts.engine, opens, day or [])
        except WorkHoursError as fault:
            return show(next_dips_page(parts, str(fault)), 422)
        return RedirectResponse(ADDRESS, status_code=303)

    @router.post(ADDRESS + "/said")
    def said_next(tree: Annotated[int, Form(ge=0, le=LARGEST_ID)]) -> Response:
        if tree and all(outlook.tree_id != tree for outlook in parts.rack.outlooks()):
            raise UnknownError(f"no tree {tree} hangs on the rack")
        parts.plan_desk.say_next(parts.engine, tree or None)
        return RedirectResponse(ADDRESS, status_code=303)

    @router.post(ADDRESS + "/air")
    def say_air(
        kind: Annotated[WordKind, Form()],
        amount: Annotated[float, Form(allow_inf_nan=False)],
        hours: Annotated[int, Form(ge=1, le=LONGEST_WORD_H)],
        place: Annotated[str, Form(max_length=60)] = "",
    ) -> Response:
        now = parts.clock.now()
        if place and place_store.place(parts.engine, place) is None:
            raise UnknownError(f"there is no place {place!r}")
        try:
            word = AirWord(kind, amount, now, now + hours * HOUR_MS)
        except AirWordError as fault:
            return show(next_dips_page(parts, str(fault)), 422)
        plan_store.add_word(parts.engine, place, word.kind, word.amount, word.start, word.end, now)
        parts.rack.air_said()
        return RedirectResponse(ADDRESS, status_code=303)

    @router.post(ADDRESS + "/air/{word_id}/undo")
    def undo_air(word_id: Annotated[int, Path(ge=1, le=LARGEST_ID)]) -> Response:
        plan_store.undo_word(parts.engine, word_id, parts.clock.now())
        parts.rack.air_said()
        return RedirectResponse(ADDRESS, status_code=303)

    return router


def _moment(parts: Parts, day: str, hour: str) -> Millis | None:
    """A day and an hour as they were typed, by the shop's own clock [ms]; None where no day was."""
    if not day:
        return None
    try:
        local = datetime.strptime(f"{day} {hour}", "%Y-%m-%d %H:%M")  # noqa: DTZ007 - the zone comes next
        zoned = local.replace(tzinfo=work_hours(parts.engine).zone)
        return round((zoned + timedelta(0)).timestamp() * SECOND_MS)
    except (ValueError, OverflowError):
        raise PourDayError(
            f"Pour day {day!r} at {hour!r} is not a day like 2026-03-20 at an hour like 08:00."
        ) from None
