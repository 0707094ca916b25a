"""The stream of changes (Server-Sent Events, as in the HTML standard) that an open page listens to."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool
from starlette.types import Receive, Scope, Send

from server.access import Access
from server.api.problems import ProblemError
from server.changes import RACK, TooManyViewersError, Viewer
from server.gate import may_ask
from server.parts import Parts
from server.store.engine import StoreError

BEAT_S = 15.0
"""How often a stream on which nothing happens says that it is there [s]: proxies cut silent ones. The HTML
standard advises its authors of a comment line every 15 seconds or so (from memory)."""

APART_S = 0.5
"""The least time between two events of one stream [s]; what changes meanwhile is told in one."""

RETRY_MS = 3000
"""When a browser comes back to a stream that broke off [ms]."""

FULL_RETRY_S = 60


class ChangeStream(StreamingResponse):
    """A stream that is over when its viewer ends or goes; however it ends, its place is free again."""

    def __init__(self, viewer: Viewer, content: AsyncIterator[str]) -> None:
        headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        super().__init__(content, headers=headers, media_type="text/event-stream")
        self._viewer = viewer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until it ends."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._viewer.leave()


def events_pages(parts: Parts, access: Access, beat_s: float = BEAT_S) -> APIRouter:
    """The stream over these parts; every `beat_s` [s] it looks whether its visitor still may read."""
    router = APIRouter(include_in_schema=False)

    @router.get("/events")
    async def events(
        request: Request,
        of: Annotated[str, Query(pattern=r"^(rack|air|trees/[0-9]{1,9})$")] = RACK,
    ) -> Response:
        try:
            viewer = parts.changes.join(of)
        except TooManyViewersError as error:
            headers = {"Retry-After": str(FULL_RETRY_S)}
            raise ProblemError(
                503, f"{error}: look again by yourself", "too-many-viewers", headers
            ) from error

        async def still_welcome() -> bool:
            try:
                return await run_in_threadpool(may_ask, request, access)
            except StoreError:
                return False  # it comes back by itself, and is told then what is wrong

        last = request.headers.get("last-event-id")
        return ChangeStream(viewer, told(viewer, last, still_welcome, beat_s))

    return router


async def told(
    viewer: Viewer, last: str | None, still_welcome: Callable[[], Awaitable[bool]], beat_s: float = BEAT_S
) -> AsyncIterator[str]:
    """The lines of a stream: first how the topic stands, unless that is the revision `last`; then changes."""
    yield f"retry: {RETRY_MS}\n\n"
    while not viewer.ended:
        change = viewer.latest()
        if change.revision != last:
            last = change.revision
            yield f"id: {change.revision}\ndata: {change.at}\n\n"
            await asyncio.sleep(APART_S)
        woken = await viewer.wait(beat_s)
        if viewer.doubted or not woken:
            viewer.doubted = False
            if not await still_welcome():
                return
            if not woken:
                yield ": still here\n\n"
