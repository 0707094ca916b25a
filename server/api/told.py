"""Being told, over HTTP: quiet hours, what is told, other channels than phones, and the notices so far."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, Field, StringConstraints

from scheduler.telling import MOST_GATHER_MIN
from sensors.clock import DAY_MS
from server.api.problems import ProblemError, documented
from server.api.schemas import LARGEST_ID, Wire, to_datetime
from server.parts import Parts
from server.phone.channel_desk import add_channel, try_channel
from server.phone.other_channels import ChannelError, masked
from server.store import notices, subscriptions
from server.store.values import KeptNotice, Subscription
from server.telling import (
    LEAST_CALIBRATION_DAYS,
    MOST_CALIBRATION_DAYS,
    SWITCHES,
    TellingError,
    calibration_ms,
    gather_minutes,
    set_telling,
    telling,
)

TimeOfDay = Annotated[str, StringConstraints(pattern=r"^([01]\d|2[0-3]):[0-5]\d$")]
ChannelId = Annotated[int, Path(ge=1, le=LARGEST_ID)]


class CauseShape(BaseModel):
    """A cause of notices: what it is, and whether it is told."""

    code: str
    name: str
    does: str
    on: bool


class ChannelShape(BaseModel):
    """Another channel than a phone; its address is shown with its secrets as stars."""

    id: int
    name: str
    address: str


class ToldAnswer(BaseModel):
    """How the shop is told; the times of day are by its own clock."""

    quiet_from: str
    quiet_until: str
    gather_min: int
    calibration_days: int
    causes: list[CauseShape]
    channels: list[ChannelShape]


class ToldRequest(Wire):
    """What is to be changed; `on` lists the codes of all causes that are to be told."""

    quiet_from: TimeOfDay | None = None
    quiet_until: TimeOfDay | None = None
    gather_min: Annotated[int | None, Field(ge=0, le=MOST_GATHER_MIN)] = None
    calibration_days: Annotated[int | None, Field(ge=LEAST_CALIBRATION_DAYS, le=MOST_CALIBRATION_DAYS)] = None
    on: Annotated[list[Annotated[str, Field(max_length=40)]] | None, Field(max_length=50)] = None


class ChannelRequest(Wire):
    """Another channel: its name, and its address as Apprise writes it."""

    name: Annotated[str, Field(min_length=1, max_length=200)]
    address: Annotated[str, Field(min_length=1, max_length=5000)]


class TriedAnswer(BaseModel):
    """What came of a test."""

    sent: bool
    detail: str


class NoticeShape(BaseModel):
    """A notice: when its cause was, how it stands, and to how many phones and channels it got."""

    id: int
    cause: str
    tree: int | None
    title: str
    body: str
    at: datetime
    held: bool
    sent: int
    waiting: int
    failed: int
    detail: str | None


def told_router(parts: Parts) -> APIRouter:
    """The calls."""
    router = APIRouter(prefix="/api/told", tags=["told"])

    @router.get("", responses=documented())
    def read() -> ToldAnswer:
        """How the shop is told."""
        return _answer(parts)

    @router.patch("", responses=documented())
    def change(request: ToldRequest) -> ToldAnswer:
        """Change some of it."""
        try:
            set_telling(parts.engine, **request.model_dump(exclude_unset=True))
        except TellingError as error:
            raise ProblemError(422, str(error), "telling") from error
        return _answer(parts)

    @router.get("/notices", responses=documented())
    def told(limit: Annotated[int, Query(ge=1, le=500)] = 50) -> list[NoticeShape]:
        """The notices, the latest first."""
        return [_notice(one) for one in notices.notices(parts.engine, limit)]

    @router.post("/channels", status_code=201, responses=documented(409))
    def add(request: ChannelRequest) -> ChannelShape:
        """Tell by another channel from now on."""
        try:
            return _channel(add_channel(parts, request.name, request.address))
        except ChannelError as error:
            raise ProblemError(422, str(error), "channel") from error

    @router.post("/channels/{channel_id}/test", responses=documented(404))
    def test(channel_id: ChannelId) -> TriedAnswer:
        """Send a test by one channel, now."""
        outcome = try_channel(parts, channel_id)
        return TriedAnswer(sent=outcome.kind == "sent", detail=outcome.detail)

    @router.delete("/channels/{channel_id}", status_code=204, responses=documented(404))
    def take_off(channel_id: ChannelId) -> None:
        """Tell by this channel no more, and forget its address."""
        subscriptions.take_off_channel(parts.engine, channel_id, parts.wall_clock())

    return router


def _answer(parts: Parts) -> ToldAnswer:
    rules = telling(parts.engine, parts.clock.now())
    return ToldAnswer(
        quiet_from=f"{rules.quiet.begins:%H:%M}",
        quiet_until=f"{rules.quiet.ends:%H:%M}",
        gather_min=gather_minutes(parts.engine),
        calibration_days=calibration_ms(parts.engine) // DAY_MS,
        causes=[
            CauseShape(code=one.code, name=one.name, does=one.does, on=one.code in rules.on)
            for one in SWITCHES
        ],
        channels=[_channel(one) for one in subscriptions.channels(parts.engine)],
    )


def _channel(channel: Subscription) -> ChannelShape:
    return ChannelShape(id=channel.id, name=channel.name, address=masked(channel.endpoint))


def _notice(notice: KeptNotice) -> NoticeShape:
    return NoticeShape(
        id=notice.id,
        cause=notice.cause,
        tree=notice.tree_id,
        title=notice.title,
        body=notice.body,
        at=to_datetime(notice.at),
        held=notice.held,
        sent=notice.sent,
        waiting=notice.waiting,
        failed=notice.failed + notice.dropped,
        detail=notice.last_error,
    )
