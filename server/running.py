"""Runs a service as a process: one over a data folder, its pages on a port, until it is told to stop."""

import asyncio
import logging
import signal
import socket
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager, nullcontext

import uvicorn

from sensors.clock import Clock, real_clock, wall_millis
from sensors.simulated import SimulatedShop, demo_nodes
from server import data_folder, demo, shop_time
from server.app import Service
from server.drying import kernel_choice
from server.phone.vapid import PushKeyError
from server.settings import Settings
from server.store import readings, recipes
from server.store.engine import Engine, StoreError, open_store
from server.store.values import KeptNotice

log = logging.getLogger("slowcorner")

PAST_WAIT_S = 120.0
"""How long the demo's nodes may take to tell the past [s of the wall]."""

Beside = Callable[[Service], AbstractAsyncContextManager[None]]


def run_service(settings: Settings, service_class: type[Service] = Service) -> None:
    """Run the real service until it is told to stop. Raises RuntimeError where it cannot be started."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    with _opened(settings) as engine:
        recipes.ensure_default(engine)

        def tell(notice: KeptNotice) -> None:
            log.info("notice: %s. %s", notice.title, notice.body)

        asyncio.run(_serve(_made(service_class, settings, engine, real_clock(), tell)))


def run_demo(settings: Settings, rate: float) -> None:
    """Run the whole job over a made-up shop: nodes publish real weather's air, `rate` times as fast."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    if settings.mqtt_address.scheme != "listen":
        raise RuntimeError(f"mqtt {settings.mqtt!r}: the demo has a listener of its own, listen://HOST:PORT")
    with _opened(settings) as engine:
        clock = shop_time.taken_up(engine, rate, demo.first_morning(wall_millis()), wall_millis)
        new = demo.furnish(engine, clock.now())
        service = _made(Service, settings, engine, clock, _tell)

        @asynccontextmanager
        async def nodes(running: Service) -> AsyncIterator[None]:
            host, port = running.mqtt.address
            now = clock.now()
            begins = demo.weather_begins(engine, now)
            newest = max(readings.latest_times(engine).values(), default=now - demo.PAST_MS)
            shop = SimulatedShop(demo_nodes(begins), host, port, clock, since=newest)
            _say(f"Three nodes publish the air of a made-up shop to mqtt://{host}:{port}.")
            if new:
                _say(
                    "They tell the past three days first; the model works out what the trees went through ..."
                )

            async def catch_up() -> None:
                if not await asyncio.to_thread(shop.wait_for_past, PAST_WAIT_S):
                    raise RuntimeError(f"the demo's nodes could not tell the past within {PAST_WAIT_S:.0f} s")
                await asyncio.to_thread(running.rack.look)
                clock.go()

            shop.start()
            catching_up = asyncio.create_task(catch_up(), name="demo nodes catch up")
            catching_up.add_done_callback(_report)
            try:
                if new:  # later starts have a rack to show at once
                    await catching_up
                yield
            finally:
                catching_up.cancel()
                await asyncio.wait((catching_up,))
                await asyncio.to_thread(shop.stop)

        _say("Slowcorner's demo: a made-up shop, real weather, real MQTT, a real drying model.")
        asyncio.run(_serve(service, nodes))


def _made(
    service_class: type[Service],
    settings: Settings,
    engine: Engine,
    clock: Clock,
    on_notice: Callable[[KeptNotice], None],
) -> Service:
    try:
        return service_class(settings, engine, clock, on_notice)
    except PushKeyError as error:
        raise RuntimeError(str(error)) from error


class _PageServer(uvicorn.Server):
    """Ends when told to, and does not raise the signal anew then, which would cut the rest short."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        loop = asyncio.get_running_loop()
        told = (signal.SIGINT, signal.SIGTERM)
        for number in told:
            loop.add_signal_handler(number, self.handle_exit, number, None)
        try:
            yield
        finally:
            for number in told:
                loop.remove_signal_handler(number)


async def _serve(service: Service, beside: Beside = lambda _service: nullcontext()) -> None:
    settings = service.settings
    with _bound(settings) as page:
        host, port = page.getsockname()[:2]
        config = uvicorn.Config(
            service.web(), lifespan="off", log_level="warning", timeout_graceful_shutdown=3
        )
        server = _PageServer(config)
        async with service.running(), beside(service):
            _say(f"The rack is at  http://{host}:{port}   ({service.mqtt.said}, store in {settings.data})")
            if service.clock.rate != 1.0:
                _say(f"One minute here is {service.clock.rate / 60:.0f} hours in the shop. Stop with Ctrl-C.")
            await server.serve(sockets=[page])


@contextmanager
def _opened(settings: Settings) -> Iterator[Engine]:
    """The store in the data folder, for one service at a time."""
    with data_folder.held(settings.data):
        kernel_choice.keep_compiled_in(settings.data / data_folder.COMPILED)
        try:
            engine = open_store(settings.database_url)
        except StoreError as error:
            raise RuntimeError(str(error)) from error
        try:
            yield engine
        finally:
            engine.dispose()


@contextmanager
def _bound(settings: Settings) -> Iterator[socket.socket]:
    try:
        page = socket.create_server((settings.host, settings.port))
    except OSError as error:
        raise RuntimeError(
            f"the page cannot be served at {settings.host}:{settings.port}: {error.strerror}; "
            "stop what is there or give --port"
        ) from error
    with page:
        yield page


def _report(task: asyncio.Task[None]) -> None:
    if not task.cancelled() and (error := task.exception()) is not None:
        log.error("%s: %s", task.get_name(), error)


def _tell(notice: KeptNotice) -> None:
    _say(f"  notice: {notice.title}. {notice.body}")


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()
