"""Places and their air, nodes and their readings, and readings that come in over HTTP."""

import csv
import io
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from sensors.clock import DAY_MS, Millis, format_time
from sensors.reading import KeptOutError, Reading, Rejected
from sensors.senml import Parsed, load_pack, parse
from sensors.topics import check_slug
from server.api.problems import ProblemError, documented
from server.api.schemas import (
    AirAnswer,
    KeptOut,
    Moment,
    NodeShape,
    PlaceShape,
    ReadingsAnswer,
    ReadingShape,
    maybe_datetime,
    to_datetime,
    to_millis,
)
from server.api.trees import air_shapes, gap_shapes
from server.gaps import gaps, known
from server.node_health import node_health
from server.parts import Parts
from server.store import places as place_store
from server.store import readings as reading_store
from server.store.engine import UnknownError
from server.store.values import Place

LONGEST_AIR_MS = 31 * DAY_MS
"""The longest piece of an air record that one call gives."""

LARGEST_PACK = 65_536
"""The largest SenML pack that is taken over HTTP [bytes], as over MQTT."""

SOURCE = "POST /api/readings"
"""Where what is kept out says it came from."""

SMALLEST_PAGE, LARGEST_PAGE = 100, 10_000

From = Annotated[Moment | None, Query(alias="from", description="from this time on")]
To = Annotated[Moment | None, Query(alias="to", description="up to, not including, this time")]


def air_router(parts: Parts) -> APIRouter:
    """The calls of air, nodes and readings."""
    router = APIRouter(tags=["air"])

    @router.get("/api/places", responses=documented())
    def places() -> list[PlaceShape]:
        """The places of the shop and the last air that is known in each."""
        return [_place(parts, place) for place in place_store.places(parts.engine)]

    @router.get("/api/places/{place}/air", responses=documented(404))
    def air(place: Annotated[str, Path(max_length=64)], start: From = None, end: To = None) -> AirAnswer:
        """The air record of a place; the last day where no times are given, at most 31 days at once."""
        if place_store.place(parts.engine, place) is None:
            raise UnknownError(f"there is no place {place!r}")
        begin, stop = _times(parts, start, end, DAY_MS)
        if stop - begin > LONGEST_AIR_MS:
            days = LONGEST_AIR_MS // DAY_MS
            detail = (
                f"from {format_time(begin)} to {format_time(stop)} is more than {days} days: ask in parts"
            )
            raise ProblemError(422, detail, "too-long")
        points = parts.rack.air(place, begin, stop)
        return AirAnswer(
            place=place, air=air_shapes(points), gaps=gap_shapes(gaps(points, stop, parts.clock.now()))
        )

    @router.get("/api/nodes", responses=documented())
    def nodes() -> list[NodeShape]:
        """Every node that was ever heard, with what is the matter with it."""
        health = node_health(parts)
        return [
            NodeShape.model_validate(
                {
                    "place": node.place,
                    "node": node.node,
                    "status": node.status,
                    "last_heard": maybe_datetime(node.last_heard),
                    "faults": [
                        {
                            "kind": one.kind,
                            "since": to_datetime(one.start),
                            "until": maybe_datetime(one.end),
                            "reason": one.reason,
                            "left_out": one.left_out,
                        }
                        for one in health
                        if (one.place, one.node) == (node.place, node.node)
                    ],
                }
            )
            for node in reading_store.nodes(parts.engine)
        ]

    @router.get(
        "/api/nodes/{node}/readings",
        response_model=list[ReadingShape],
        responses=documented(404) | {200: {"content": {"text/csv": {"schema": {"type": "string"}}}}},
    )
    def node_readings(
        request: Request,
        node: Annotated[str, Path(max_length=64)],
        start: From = None,
        end: To = None,
        limit: Annotated[int, Query(ge=SMALLEST_PAGE, le=LARGEST_PAGE)] = 1000,
    ) -> Response:
        """Readings as they came, by time; the `Link` header leads to the next page. CSV by `Accept:
        text/csv`."""
        if node not in {known.node for known in reading_store.nodes(parts.engine)}:
            raise UnknownError(f"there is no node {node!r}")
        begin, stop = _times(parts, start, end, LONGEST_AIR_MS)
        page, onward = page_of(reading_store.node_readings(parts.engine, node, begin, stop, limit + 1), limit)
        headers = {"Vary": "Accept"}
        if onward is not None:
            query = urlencode({"from": format_time(onward), "to": format_time(stop), "limit": limit})
            headers["Link"] = f'<{request.url.path}?{query}>; rel="next"'
        if "text/csv" in request.headers.get("accept", ""):
            return Response(_csv(page), media_type="text/csv", headers=headers)
        return JSONResponse([_reading(reading) for reading in page], headers=headers)

    @router.post(
        "/api/readings",
        status_code=201,
        responses=documented(413),
        openapi_extra={
            "requestBody": {
                "required": True,
                "content": {"application/senml+json": {"schema": {"type": "array", "items": {}}}},
            }
        },
    )
    async def readings(
        request: Request,
        place: Annotated[str | None, Query(max_length=64)] = None,
        node: Annotated[str | None, Query(max_length=64)] = None,
    ) -> ReadingsAnswer:
        """A SenML pack (RFC 8428). Place and node are named by the query, or by the pack's base name
        `place/node/`."""
        payload = await _body(request)
        now = parts.clock.now()
        try:
            parsed = parse(payload, *_sender(payload, place, node), now, SOURCE)
        except KeptOutError as fault:
            parsed = Parsed((), (Rejected(SOURCE, str(fault), payload, now),))
        taken = await parts.on_readings(parsed)
        kept_out = [KeptOut(reason=one.reason) for one in parsed.rejected]
        if not parsed.readings:
            detail = "; ".join(one.reason for one in kept_out[:5]) or "the pack holds no reading"
            raise ProblemError(422, detail, "no-reading")
        return ReadingsAnswer(taken=taken, rejected=kept_out)

    return router


def page_of(found: list[Reading], limit: int) -> tuple[list[Reading], Millis | None]:
    """A page of at most `limit` readings that never cuts a time in two, and the time the next page starts at.

    `found` is one more than the limit where there is more.
    """
    if len(found) <= limit:
        return found, None
    onward = found[limit].time
    whole = [reading for reading in found if reading.time < onward]
    # One time with more readings than a page holds: give what there is rather than stand still.
    return (whole, onward) if whole else (found[:limit], onward + 1)


def _times(parts: Parts, start: datetime | None, end: datetime | None, span: Millis) -> tuple[Millis, Millis]:
    """The times asked for, filled up to a span before the end."""
    stop = parts.clock.now() if end is None else to_millis(end)
    begin = stop - span if start is None else to_millis(start)
    if begin > stop:
        detail = f"from {format_time(begin)} is after to {format_time(stop)}"
        raise ProblemError(422, detail, "times-reversed")
    return begin, stop


async def _body(request: Request) -> bytes:
    """The payload, refused before it is all read where it is too large."""
    payload = bytearray()
    async for chunk in request.stream():
        payload += chunk
        if len(payload) > LARGEST_PACK:
            raise ProblemError(413, f"the pack is larger than {LARGEST_PACK} bytes", "too-large")
    return bytes(payload)


def _sender(payload: bytes, place: str | None, node: str | None) -> tuple[str, str]:
    """Which node speaks; raises KeptOutError where nothing says it."""
    if place is None or node is None:
        first = load_pack(payload)[0]
        base = first.get("bn") if isinstance(first, dict) else None
        parts = base.split("/") if isinstance(base, str) else []
        if len(parts) < 2:
            raise KeptOutError('say which node it is: ?place=…&node=…, or a base name "bn": "place/node/"')
        place, node = place or parts[0], node or parts[1]
    check_slug("place", place)
    check_slug("node", node)
    return place, node


def _place(parts: Parts, place: Place) -> PlaceShape:
    now = parts.clock.now()
    latest = air_shapes([point for point in parts.rack.air(place.id, now - DAY_MS, now) if known(point)][-1:])
    return PlaceShape(
        id=place.id, name=place.name, speed_m_s=place.speed_m_s, latest=latest[0] if latest else None
    )


def _reading(reading: Reading) -> dict[str, Any]:
    return {
        "time": format_time(reading.time),
        "name": reading.name,
        "unit": reading.unit,
        "value": reading.value,
    }


def _csv(readings: list[Reading]) -> str:
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(("time", "name", "unit", "value"))
    writer.writerows((format_time(one.time), one.name, one.unit, one.value) for one in readings)
    return text.getvalue()
