"""The addresses of what the rack has taught."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query, Response

from server.api.csv_tables import csv_of
from server.api.schemas import to_millis
from server.casting_desk import year_of_checks
from server.pages.frame import shop_now
from server.pages.history import history_page
from server.pages.render import show
from server.parts import Parts


def history_pages(parts: Parts) -> APIRouter:
    """The pages of the history over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get("/shop/history")
    def history() -> Response:
        return show(history_page(parts))

    @router.get("/shop/history/checks.csv")
    def checks(year: Annotated[int, Query(ge=2000, le=2200)]) -> Response:
        zone = shop_now(parts).zone
        start, end = (to_millis(datetime(one, 1, 1, tzinfo=zone)) for one in (year, year + 1))
        return csv_of(year_of_checks(parts, start, end), f"burnout-checks-{year}.csv")

    return router
