"""The servers of pages and of the plain door, which end with the service and not before it."""

import asyncio
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import uvicorn
from starlette.applications import Starlette

from server.certificates import Certificates


class PageServer(uvicorn.Server):
    """Ends when told to, and does not raise the signal anew then, which would cut the rest short.

    `before` is called first of all: it ends the streams, which would else be waited for.
    """

    def __init__(self, config: uvicorn.Config, before: Callable[[], None]) -> None:
        super().__init__(config)
        self._before = before

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Take no more connections, finish what is asked, end."""
        self._before()
        await super().shutdown(sockets)

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Hear SIGINT and SIGTERM within the event loop."""
        loop = asyncio.get_running_loop()
        told = (signal.SIGINT, signal.SIGTERM)
        for number in told:
            loop.add_signal_handler(number, self.handle_exit, number, None)
        try:
            yield
        finally:
            for number in told:
                loop.remove_signal_handler(number)


def server_config(app: Starlette, certificates: Certificates | None = None) -> uvicorn.Config:
    """How an application is served, by TLS where there are certificates."""
    return uvicorn.Config(
        app,
        lifespan="off",
        log_level="warning",
        timeout_graceful_shutdown=3,
        proxy_headers=False,  # ours believes named proxies alone
        server_header=False,
        ssl_certfile=None if certificates is None else certificates.leaf,
        ssl_keyfile=None if certificates is None else certificates.key,
    )


class DoorServer(uvicorn.Server):
    """Ends with the other one, which is told of signals."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave the signals to the page's server."""
        yield
