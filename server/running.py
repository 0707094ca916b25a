"""Runs a service as a process: one over a data folder, its pages on a port, until it is told to stop."""

import asyncio
import gc
import logging
import socket
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import (
    AbstractAsyncContextManager,
    ExitStack,
    asynccontextmanager,
    contextmanager,
    nullcontext,
)
from datetime import UTC, datetime

import segno
import uvicorn

from sensors.clock import Clock, real_clock, wall_millis
from sensors.simulated import SimulatedShop, demo_nodes
from server import data_folder, demo, shop_time
from server.access import Access
from server.app import Service
from server.certificate_making import machine_names, names_of
from server.certificates import FOLDER, CertificateError, Certificates, ensure
from server.door import door_app
from server.drying import kernel_choice
from server.guard import ANY_ADDRESS, LOOPBACK_HOSTS
from server.page_server import DoorServer, PageServer, server_config
from server.phone.vapid import PushKeyError
from server.settings import Settings
from server.store import readings, recipes
from server.store.engine import Engine, StoreError, open_store
from server.store.values import KeptNotice

log = logging.getLogger("slowcorner")

PAST_WAIT_S = 120.0
"""How long the demo's nodes may take to tell the past [s of the wall]."""

GIVE_WAY_S = 0.0005
"""How soon the judge's thread gives way to a page's [s]; Python's own 5 ms are waited at every statement."""

GARBAGE_AFTER = 20_000
"""So many objects more are made than let go of, before they are looked through for garbage. Python's own 700
are there at every hundredth message of a burst, and a seventh of its time goes into looking."""

Beside = Callable[[Service], AbstractAsyncContextManager[None]]


def run_service(settings: Settings, service_class: type[Service] = Service) -> None:
    """Run the real service until it is told to stop. Raises RuntimeError where it cannot be started."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    new = not settings.database and not (settings.data / data_folder.DATABASE).exists()
    if new and not settings.loopback:
        raise RuntimeError(_nobody_paired(settings))
    with _opened(settings) as engine:
        access = _access(settings, engine)
        recipes.ensure_default(engine)

        def tell(notice: KeptNotice) -> None:
            log.info("notice: %s. %s", notice.title, notice.body)

        asyncio.run(_serve(_made(service_class, settings, engine, real_clock(), tell), access=access))


def run_demo(settings: Settings, rate: float) -> None:
    """Run the whole job over a made-up shop: nodes publish real weather's air, `rate` times as fast."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    if not settings.loopback or settings.tls or settings.trusted_proxies:
        raise RuntimeError("the demo is open to all who reach it, so it serves only this machine (127.0.0.1)")
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


async def _serve(
    service: Service,
    beside: Beside = lambda _service: nullcontext(),
    access: Access | None = None,
) -> None:
    sys.setswitchinterval(GIVE_WAY_S)
    gc.set_threshold(GARBAGE_AFTER, *gc.get_threshold()[1:])
    settings = service.settings
    certificates = await asyncio.to_thread(make_certificates, settings) if settings.tls else None
    with ExitStack() as sockets:
        door = sockets.enter_context(_bound(settings.host, settings.port))
        page = sockets.enter_context(_bound(settings.host, settings.tls_port)) if certificates else door
        host, port = page.getsockname()[:2]
        scheme = "https" if certificates else "http"
        hosts = _hosts(settings)
        config = server_config(service.web(access, hosts), certificates)
        server = PageServer(config, service.parts.changes.close)
        async with service.running(), beside(service), asyncio.TaskGroup() as tasks:
            helpers = []
            if certificates:
                plain = DoorServer(server_config(door_app(certificates.authority, hosts, port)))
                helpers.append(tasks.create_task(plain.serve(sockets=[door]), name="door for phones"))
                helpers.append(tasks.create_task(_keep_certificate(settings, config), name="certificate"))
                _say(f"A phone starts at  http://{_reach(settings, host)}:{door.getsockname()[1]}/phone")
            helpers.append(tasks.create_task(_set_aside(service), name="memory"))
            address = f"{scheme}://{host}:{port}"
            _say(f"The rack is at  {address}   ({service.mqtt.said}, store in {settings.data})")
            if access is not None:
                _say_access(settings, access, address)
            if service.clock.rate != 1.0:
                _say(f"One minute here is {service.clock.rate / 60:.0f} hours in the shop. Stop with Ctrl-C.")
            try:
                await server.serve(sockets=[page])
            finally:
                for helper in helpers:
                    helper.cancel()


async def _set_aside(service: Service) -> None:
    """Once all is judged, look through what the start made for garbage a last time.

    It stays, and looking through it again and again would stop pages and judge for some 0.2 s each time.
    """
    await asyncio.to_thread(service.rack.look, False)
    gc.collect()
    gc.freeze()


async def _keep_certificate(settings: Settings, config: uvicorn.Config) -> None:
    """Look once a day whether the certificate ends soon or names have changed; new handshakes get the new."""
    while True:
        await asyncio.sleep(24 * 3600)
        try:
            made = await asyncio.to_thread(make_certificates, settings)
            if made.new_leaf and config.ssl is not None:
                config.ssl.load_cert_chain(made.leaf, made.key)
                log.info("certificate: renewed until %s", f"{made.until:%Y-%m-%d}")
        except (RuntimeError, OSError) as error:
            log.error("certificate: not renewed: %s", error)


def make_certificates(settings: Settings) -> Certificates:
    """The machine's certificate, made or renewed. Raises RuntimeError where it cannot be."""
    try:
        return ensure(
            settings.data / FOLDER, machine_names(), names_of(settings.extra_names), datetime.now(UTC)
        )
    except CertificateError as error:
        raise RuntimeError(str(error)) from error


def _access(settings: Settings, engine: Engine) -> Access:
    """Who may do what. Raises RuntimeError where others would be served before anyone has paired."""
    access = Access(engine, wall_millis, never_open=not settings.loopback or bool(settings.trusted_proxies))
    if not settings.loopback and not access.anyone_paired():
        raise RuntimeError(_nobody_paired(settings))
    return access


def _nobody_paired(settings: Settings) -> str:
    return (
        f"host {settings.host!r}: nobody has paired yet, so only this machine (127.0.0.1) is served. Start "
        "without --host, open the page here, pair with the code that the start prints, then start with --host"
    )


def _say_access(settings: Settings, access: Access, address: str) -> None:
    if not settings.loopback and not settings.tls:
        _say("Not encrypted: whoever is on this network can read along and take a cookie. --tls encrypts.")
    if access.anyone_paired():
        return
    code = access.new_code("acts")
    link = f"{address}/pair?code={code}"
    _say(f"Nobody has paired yet. The code is  {code[:4]} {code[4:]}  at {link} (good once, for 10 minutes).")
    if access.is_open():
        _say("Until someone does, whoever is at this machine may do all, and no other machine is served.")
    if sys.stdout.isatty():
        segno.make(link, micro=False).terminal(compact=True)


def _hosts(settings: Settings) -> frozenset[str]:
    """The names that the page answers to."""
    extra = names_of(settings.extra_names)
    hosts = LOOPBACK_HOSTS | extra.hosts | extra.addresses
    return hosts if settings.loopback else hosts | machine_names().hosts | {ANY_ADDRESS}


def _reach(settings: Settings, host: str) -> str:
    return host if settings.loopback else min(h for h in machine_names().hosts if h.endswith(".local"))


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
def _bound(host: str, port: int) -> Iterator[socket.socket]:
    try:
        page = socket.create_server((host, port))
    except OSError as error:
        raise RuntimeError(
            f"the page cannot be served at {host}:{port}: {error.strerror}; stop what is there or give --port"
        ) from error
    with page:
        # Connections inherit it. The event loop sets it only for sockets that name their protocol, and
        # without it every answer on an open connection waits some 40 ms for an acknowledgement.
        page.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        yield page


def _report(task: asyncio.Task[None]) -> None:
    if not task.cancelled() and (error := task.exception()) is not None:
        log.error("%s: %s", task.get_name(), error)


def _tell(notice: KeptNotice) -> None:
    _say(f"  notice: {notice.title}. {notice.body}")


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()
