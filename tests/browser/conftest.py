"""A shop on a port of its own, and a phone to look at it with: Chromium without a window."""

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect, sync_playwright

from server.drying import compile_kernel
from server.store.engine import open_store
from server.web import web_app
from tests.service.fake_shop import FakeShop, furnished
from tests.service.push_service import PushService, running_push_service

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

PATIENCE_MS = 30_000
"""How long a page has for what is expected of it [ms]: enough for a machine with other work on both cores."""

expect.set_options(timeout=PATIENCE_MS)


class _Server(uvicorn.Server):
    """Tells when it answers; leaves the signals of the process alone."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.answers = threading.Event()

    async def startup(self, sockets: list[object] | None = None) -> None:  # type: ignore[override]
        await super().startup(sockets)  # type: ignore[arg-type]
        self.answers.set()


@dataclass
class LiveShop:
    """A shop whose pages are served over loopback; `stop` takes the service away, `start` brings it back."""

    shop: FakeShop
    port: int = 0
    _server: _Server | None = None
    _thread: threading.Thread | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        config = uvicorn.Config(
            web_app(self.shop.parts), host="127.0.0.1", port=self.port, log_level="warning", lifespan="off"
        )
        self._server = _Server(config)
        self._thread = threading.Thread(target=self._server.run, name="shop", daemon=True)
        self._thread.start()
        assert self._server.answers.wait(PATIENCE_MS / 1000)
        self.port = self._server.servers[0].sockets[0].getsockname()[1]

    def stop(self) -> None:
        if self._server and self._thread:
            self._server.should_exit = self._server.force_exit = True
            self._thread.join(PATIENCE_MS / 1000)
            assert not self._thread.is_alive()
        self._server = self._thread = None


@pytest.fixture(scope="session", autouse=True)
def compiled() -> None:
    """The quick kernel is there before any shop: a thread that loads it disturbs the warnings of others.

    `warnings.catch_warnings`, which Numba and FastAPI use, is not safe among threads.
    """
    compile_kernel.main()


@pytest.fixture
def live(tmp_path: Path) -> Iterator[LiveShop]:
    """A furnished shop that answers on loopback."""
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    shop = FakeShop(engine)
    furnished(shop)
    live = LiveShop(shop)
    live.start()
    yield live
    live.stop()
    engine.dispose()


@pytest.fixture(scope="module")
def chromium(needs_chromium: str) -> Iterator[Browser]:
    """Debian's Chromium. Not for the whole session: while it lives, its event loop bars every other one."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=needs_chromium, args=ARGUMENTS)
        yield browser
        browser.close()


Phone = Callable[..., Page]


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Phone]:
    """Opens a page as a phone shows it (390 x 844), dark or light, with script or without.

    What the page's script complains of is an error, but for a service that is away.
    """
    contexts, complaints = [], []

    def open_page(dark: bool = False, script: bool = True) -> Page:
        context = chromium.new_context(
            viewport={"width": 390, "height": 844},
            color_scheme="dark" if dark else "light",
            java_script_enabled=script,
            has_touch=True,
            timezone_id="Europe/Helsinki",
            locale="en-GB",
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda line: complaints.append(line.text) if line.type == "error" else None)
        return page

    yield open_page
    for context in contexts:
        context.close()
    away = (
        "ERR_CONNECTION_REFUSED",
        "ERR_CONNECTION_RESET",
        "ERR_EMPTY_RESPONSE",
        "ERR_FAILED",
        "ERR_INCOMPLETE_CHUNKED_ENCODING",
        "ERR_INTERNET_DISCONNECTED",
        "409 (Conflict)",
        "404 (Not Found)",
        "422 (Unprocessable Entity)",
        "An unknown error occurred when fetching the script.",  # the worker's, looked for while it is away
    )
    assert [line for line in complaints if not any(word in line for word in away)] == []


@pytest.fixture(scope="module")
def push_service() -> Iterator[PushService]:
    """A push service of our own, over loopback."""
    with running_push_service() as service:
        yield service
