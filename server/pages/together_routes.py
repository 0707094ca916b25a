"""The addresses of a round of dips. What was written down is shown at an address of its own (303)."""

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse
from pydantic import StringConstraints

from sensors.clock import Millis
from server.api.schemas import Note
from server.pages.frame import shop_now
from server.pages.render import show
from server.pages.together import (
    KEY,
    Round,
    asked_page,
    dip_names,
    moment_said,
    said_page,
    take_round,
    together_page,
    undo_round,
)
from server.parts import Parts

MOST = 200
"""So many trees may be in one round: more hang on no rack that we know of; assumed."""

Key = Annotated[str, StringConstraints(pattern=f"^{KEY.pattern}$")]
DipName = Annotated[str, StringConstraints(pattern=r"^\d{1,10}-\d{1,10}$")]
Keys = Annotated[list[Key] | None, Form(max_length=MOST)]
DipNames = Annotated[list[DipName] | None, Form(max_length=MOST)]
DipsAsked = Annotated[list[DipName] | None, Query(max_length=MOST)]


def together_pages(parts: Parts) -> APIRouter:
    """The pages of a round over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/together")
    def together() -> Response:
        return show(together_page(parts))

    @router.post("/together")
    def take(
        tree: Keys = None,
        done: DipNames = None,
        ago_min: Annotated[int, Form(ge=0, le=7 * 24 * 60)] = 0,
        clock: Annotated[str, Form(max_length=8)] = "",
        at: Annotated[Millis | None, Form(ge=0, le=2**53)] = None,
        pot: Annotated[Note, Form()] = "",
        confirm: Annotated[bool, Form()] = False,
    ) -> Response:
        before = done or []
        if not tree and not before:
            return show(together_page(parts, "Nothing was ticked: tick the trees that you dipped."), 422)
        try:
            moment = at if at is not None else moment_said(shop_now(parts), ago_min, clock)
        except ValueError as error:
            return show(together_page(parts, f"Nothing was written down: {error}."), 422)
        said = Round(tuple(tree or ()), moment, pot[:60], confirm)
        outcome = take_round(parts, said)
        if outcome.asked:
            return show(asked_page(parts, said, outcome, before), 409)
        dips = [*before, *dip_names(outcome.kept)]
        if outcome.refused:
            return show(said_page(parts, dips, outcome.refused), 409)
        return _onward(dips)

    @router.get("/together/said")
    def said(dip: DipsAsked = None) -> Response:
        return show(said_page(parts, dip or ()))

    @router.post("/together/undo")
    def undo(dip: DipNames = None) -> Response:
        refused = undo_round(parts, dip or ())
        return show(said_page(parts, dip or (), refused), 409) if refused else _onward(dip or ())

    return router


def _onward(dips: list[str] | tuple[str, ...]) -> RedirectResponse:
    return RedirectResponse(f"/together/said?{urlencode([('dip', one) for one in dips])}", status_code=303)
