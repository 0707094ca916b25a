"""The addresses of the page of being told."""

from typing import Annotated

from fastapi import APIRouter, Form, Path, Response
from fastapi.responses import RedirectResponse

from server.api.schemas import LARGEST_ID
from server.pages.render import show
from server.pages.told import ToldForm, told_page
from server.parts import Parts
from server.phone.channel_desk import add_channel, channel, try_channel
from server.phone.other_channels import ChannelError
from server.store.engine import RefusedError
from server.store.subscriptions import take_off_channel
from server.telling import TellingError, set_telling

ADDRESS = "/shop/told"
CHANNELS = ADDRESS + "/channels"

ChannelId = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Clock = Annotated[str, Form(max_length=10)]
Whole = Annotated[str, Form(max_length=10)]


def told_pages(parts: Parts) -> APIRouter:
    """The page of being told over these parts."""
    router = APIRouter(include_in_schema=False)

    @router.get(ADDRESS)
    def page() -> Response:
        return show(told_page(parts))

    @router.post(ADDRESS)
    def change(
        quiet_from: Clock,
        quiet_until: Clock,
        gather_min: Whole,
        calibration_days: Whole,
        on: Annotated[list[str] | None, Form(max_length=50)] = None,
    ) -> Response:
        typed = ToldForm(quiet_from, quiet_until, gather_min, calibration_days, on or [])
        try:
            set_telling(
                parts.engine,
                quiet_from,
                quiet_until,
                _whole("gathered for [min]", gather_min),
                _whole("calibration due after [days]", calibration_days),
                on or [],
            )
        except TellingError as fault:
            return show(told_page(parts, fault=f"Not set: {fault}", typed=typed), 422)
        return RedirectResponse(ADDRESS, status_code=303)

    @router.post(CHANNELS)
    def add(
        name: Annotated[str, Form(max_length=1000)] = "",
        address: Annotated[str, Form(max_length=10_000)] = "",
    ) -> Response:
        try:
            add_channel(parts, name, address)
        except (ChannelError, RefusedError) as fault:
            return show(told_page(parts, fault=f"Not set up: {fault}"), 422)
        return RedirectResponse(ADDRESS, status_code=303)

    @router.post(CHANNELS + "/{channel_id}/test")
    def test(channel_id: ChannelId) -> Response:
        name = channel(parts, channel_id).name
        outcome = try_channel(parts, channel_id)
        if outcome.kind == "sent":
            return show(told_page(parts, said=f"{name} took the test: see whether it arrived."))
        return show(told_page(parts, fault=f"{name} did not take the test: {outcome.detail}"), 502)

    @router.post(CHANNELS + "/{channel_id}/off")
    def take_off(channel_id: ChannelId) -> Response:
        take_off_channel(parts.engine, channel_id, parts.wall_clock())
        return RedirectResponse(ADDRESS, status_code=303)

    return router


def _whole(what: str, text: str) -> int:
    try:
        return int(text.strip())
    except ValueError:
        raise TellingError(f"{what} {text!r} is not a whole number") from None
