"""The stream of changes: what is told, to whom, and how it ends."""

import asyncio
import http.client
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import uvicorn

from scheduler.forecast import Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS
from server.access import Access
from server.changes import Changes, TooManyViewersError, mark_of
from server.page_server import DoorServer
from server.pages import events_routes
from server.store import dips as dip_store
from server.store.values import NewDip, Tree
from server.web import web_app
from tests.service.fake_shop import NOON, FakeShop, furnished, problem
from tests.service.fake_shop import Browser as Web


class _Server(DoorServer):
    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.answers = threading.Event()

    async def startup(self, sockets: list[object] | None = None) -> None:  # type: ignore[override]
        await super().startup(sockets)  # type: ignore[arg-type]
        self.answers.set()


@contextmanager
def served(shop: FakeShop, access: Access | None = None) -> Iterator["Streams"]:
    """The shop's pages on loopback, and streams of them, which are closed in the end."""
    config = uvicorn.Config(web_app(shop.parts, access=access), port=0, log_level="warning", lifespan="off")
    server = _Server(config)
    thread = threading.Thread(target=server.run, name="events")
    thread.start()
    assert server.answers.wait(30)
    streams = Streams(server.servers[0].sockets[0].getsockname()[1])
    try:
        yield streams
    finally:
        streams.close()
        shop.parts.changes.close()
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive()


class Stream:
    """An open stream, read by pieces as a browser does: a piece is what stands between two empty lines."""

    def __init__(self, port: int, of: str = "rack", **headers: str) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        self._connection.request("GET", f"/events?of={of}", headers=headers)
        self.answer = self._connection.getresponse()

    def piece(self) -> dict[str, str]:
        """The next piece by its fields; {} at the end of the stream."""
        fields: dict[str, str] = {}
        while line := self.answer.readline():
            if line == b"\n":
                return fields
            name, _, value = line.decode().rstrip("\n").partition(":")
            fields[name] = value.strip()
        return {}

    def close(self) -> None:
        self.answer.close()
        self._connection.close()


class Streams:
    """Opens streams at a port, and remembers them."""

    def __init__(self, port: int) -> None:
        self.port = port
        self._opened: list[Stream] = []

    def __call__(self, of: str = "rack", **headers: str) -> Stream:
        self._opened.append(Stream(self.port, of, **headers))
        return self._opened[-1]

    def close(self) -> None:
        for stream in self._opened:
            stream.close()


@pytest.fixture
def rack(shop: FakeShop) -> dict[str, Tree]:
    trees = furnished(shop)
    shop.parts.changes.shown(shop.rack.verdicts)
    return trees


def test_a_stream_tells_how_the_rack_stands_and_then_what_changes(
    shop: FakeShop, rack: dict[str, Tree]
) -> None:
    with served(shop) as stream_of:
        stream = stream_of()
        assert stream.answer.status == 200
        assert stream.answer.headers["Content-Type"].startswith("text/event-stream")
        assert stream.answer.headers["Cache-Control"] == "no-store"
        assert "Content-Encoding" not in stream.answer.headers
        assert stream.piece() == {"retry": "3000"}
        first = stream.piece()
        assert first["data"] == str(NOON)
        shop.clock.time += MINUTE_MS
        dip_store.add_dip(shop.engine, NewDip(rack["Heron"].id, shop.clock.now(), shop.clock.now()))
        shop.judge(rack["Heron"], "drying", remaining=1.0)
        shop.parts.changes.shown(shop.rack.verdicts)
        second = stream.piece()
        assert second["data"] == str(NOON + MINUTE_MS)
        assert second["id"] != first["id"]


def test_who_comes_back_is_told_only_if_something_changed(shop: FakeShop, rack: dict[str, Tree]) -> None:
    with served(shop) as stream_of:
        stream = stream_of()
        stream.piece()
        seen = stream.piece()["id"]
        stream.close()
        again = stream_of(**{"Last-Event-ID": seen, "Accept-Encoding": "gzip"})
        assert again.piece() == {"retry": "3000"}
        shop.judge(rack["Heron"], "drying", remaining=0.8)
        shop.parts.changes.shown(shop.rack.verdicts)
        assert again.piece()["id"] not in ("", seen)


def test_a_change_is_told_to_those_who_look_at_it(shop: FakeShop, rack: dict[str, Tree]) -> None:
    heron, teal = (f"trees/{rack[name].id}" for name in ("Heron", "Teal"))

    async def watch() -> tuple[bool, ...]:
        viewers = [shop.parts.changes.join(topic) for topic in (heron, teal, "rack", "air")]
        shop.judge(rack["Heron"], "drying", remaining=0.9)
        await asyncio.to_thread(shop.parts.changes.shown, shop.rack.verdicts)
        told = [await viewer.wait(0.2) for viewer in viewers]
        await asyncio.to_thread(shop.parts.changes.air_heard, NOON)
        return (*told, *[await viewer.wait(0.2) for viewer in viewers])

    assert asyncio.run(watch()) == (True, False, True, False, False, False, False, True)


def test_what_nobody_could_see_is_no_change(shop: FakeShop, rack: dict[str, Tree]) -> None:
    bittern = rack["Bittern"]
    before = mark_of(shop.rack.verdicts[bittern.id])

    def judged(minutes: float, remaining: float) -> str:
        when = round(NOON + 40 * MINUTE_MS + minutes * MINUTE_MS)
        shop.judge(bittern, "drying", Quantiles(when, when, when), remaining)
        return mark_of(shop.rack.verdicts[bittern.id])

    assert judged(1, 0.341) == before
    shop.clock.time += 5_000
    assert judged(0, 0.34) == before
    assert judged(10, 0.34) != before
    assert judged(0, 0.30) != before


def test_a_tree_that_leaves_the_rack_is_a_change(shop: FakeShop, rack: dict[str, Tree]) -> None:
    topic = f"trees/{rack['Heron'].id}"
    before = shop.parts.changes.latest(topic)
    del shop.rack.verdicts[rack["Heron"].id]
    shop.clock.time += HOUR_MS
    shop.parts.changes.shown(shop.rack.verdicts)
    after = shop.parts.changes.latest(topic)
    assert (before.revision, before.at) != (after.revision, after.at)
    shop.clock.time += HOUR_MS
    shop.parts.changes.shown(shop.rack.verdicts)
    assert shop.parts.changes.latest(topic) == after


def test_a_silent_stream_says_that_it_is_there(
    shop: FakeShop, rack: dict[str, Tree], monkeypatch: pytest.MonkeyPatch
) -> None:
    async def pieces() -> list[str]:
        viewer = shop.parts.changes.join("rack")

        async def welcome() -> bool:
            return True

        stream = events_routes.told(viewer, None, welcome, beat_s=0.01)
        return [await anext(stream) for _ in range(4)]

    monkeypatch.setattr(events_routes, "APART_S", 0.0)
    assert asyncio.run(pieces())[2:] == [": still here\n\n"] * 2


def test_a_device_that_is_let_out_is_told_no_more(shop: FakeShop, rack: dict[str, Tree]) -> None:
    access = Access(shop.engine, lambda: NOON)
    cookie = access.pair(access.new_code("acts"), "Pond phone")
    wall = access.pair(access.new_code("looks"), "Wall tablet")
    (device,) = [one for value in (wall,) if (one := access.device(value))]
    with served(shop, access) as stream_of:
        assert stream_of().answer.status == 401
        phone, tablet = (stream_of(Cookie=f"slowcorner={value}") for value in (cookie, wall))
        for stream in (phone, tablet):
            assert [stream.piece(), stream.piece()["data"]] == [{"retry": "3000"}, str(NOON)]
        acting = http.client.HTTPConnection("127.0.0.1", stream_of.port, timeout=10)
        headers = {"Cookie": f"slowcorner={cookie}", "Sec-Fetch-Site": "same-origin"}
        acting.request("POST", f"/shop/devices/{device.id}/revoke", headers=headers)
        with acting.getresponse() as answer:
            assert answer.status == 303
        assert tablet.piece() == {}
        shop.judge(rack["Heron"], "drying", remaining=0.9)
        shop.parts.changes.shown(shop.rack.verdicts)
        assert "id" in phone.piece()
        acting.close()


def test_more_pages_than_are_told_look_by_themselves(shop: FakeShop, web: Web) -> None:
    shop.parts.changes._most = 0
    answer = web.get("/events")
    assert problem(answer, 503)["detail"] == (
        "0 pages are told of changes at a time, and are now: look again by yourself"
    )
    assert answer.headers["Retry-After"] == "60"


def test_a_page_that_is_closed_leaves_its_place_to_another(shop: FakeShop, rack: dict[str, Tree]) -> None:
    shop.parts.changes._most = 1
    left = threading.Event()
    forget = shop.parts.changes.forget

    def noted(viewer: object) -> None:
        forget(viewer)  # type: ignore[arg-type]
        left.set()

    shop.parts.changes.forget = noted  # type: ignore[method-assign]
    with served(shop) as stream_of:
        first = stream_of()
        assert first.piece()
        assert stream_of().answer.status == 503
        first.close()
        assert left.wait(30)
        assert stream_of().answer.status == 200


@pytest.mark.parametrize("of", ["", "trees/", "trees/x", "trees/1/dips", "nodes"])
def test_what_cannot_be_looked_at_is_refused(web: Web, of: str) -> None:
    assert web.get("/events", params={"of": of}).status_code == 422


def test_streams_end_with_the_service(shop: FakeShop, rack: dict[str, Tree]) -> None:
    with served(shop) as stream_of:
        stream = stream_of()
        stream.piece(), stream.piece()
        shop.parts.changes.close()
        assert stream.piece() == {}
        late = stream_of()
        assert (late.piece(), late.piece()) == ({"retry": "3000"}, {})


def test_a_viewer_whose_event_loop_is_gone_is_forgotten() -> None:
    changes = Changes(lambda: NOON, most=1)

    async def join() -> None:
        changes.join("air")
        with pytest.raises(TooManyViewersError):
            changes.join("air")

    asyncio.run(join())
    changes.air_heard(NOON)
    assert changes.viewers() == 0
