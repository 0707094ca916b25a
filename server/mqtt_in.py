"""How the nodes' messages come in: by the listener of our own or from a broker, as the settings have it."""

import asyncio
import secrets
import ssl
from collections.abc import Awaitable, Callable, Sequence
from hmac import compare_digest
from pathlib import Path
from typing import Protocol

from scheduler.forecast import Outlook
from sensors.clock import Clock
from sensors.intake.broker import Broker, encrypted
from sensors.intake.listener import Listener
from sensors.intake.message import Message
from sensors.intake.subscriber import Subscriber
from sensors.mapping import Mapping
from server.mqtt_accounts import Logins, usual_hasher
from server.publishing import StatePublisher
from server.settings import LOOPBACK_HOSTS, Settings
from server.store import shop
from server.store.engine import Engine

Sink = Callable[[Message], Awaitable[object]]

CLIENT_ID = "mqtt_client_id"
"""The setting in the store that keeps who we are at the broker: a lasting session hangs on it."""


class MqttIn(Protocol):
    """Where the nodes' messages come from, whichever way it is."""

    @property
    def said(self) -> str:
        """What it is and where, in words."""
        ...

    @property
    def address(self) -> tuple[str, int]:
        """Host and port at which nodes publish."""
        ...

    @property
    def trouble(self) -> str | None:
        """Why messages do not come, in words; None where they do."""
        ...

    def use_mappings(self, mappings: Sequence[Mapping]) -> None:
        """Read other makers' payloads by these mappings from now on."""
        ...

    async def start(self) -> None:
        """Begin. Raises OSError or RuntimeError where it cannot."""
        ...

    async def stop(self) -> None:
        """Take no more, and acknowledge what is being stored."""
        ...


class OwnListener:
    """The built-in listener."""

    trouble = None

    def __init__(self, listener: Listener) -> None:
        self.listener = listener

    @property
    def said(self) -> str:
        """What it is and where, in words."""
        return "MQTT listener at {}:{}".format(*self.address)

    @property
    def address(self) -> tuple[str, int]:
        """Host and port at which nodes publish."""
        return self.listener.address

    def use_mappings(self, mappings: Sequence[Mapping]) -> None:
        """Read other makers' payloads by these mappings from now on."""
        self.listener.mappings = tuple(mappings)

    async def start(self) -> None:
        """Begin to listen. Raises OSError when the address cannot be had."""
        await self.listener.start()

    async def stop(self) -> None:
        """Close every connection; what is being stored is acknowledged."""
        await self.listener.stop()


class ExistingBroker:
    """A broker that is already there: what nodes tell it is taken, and it is told of the trees."""

    def __init__(
        self, broker: Broker, sink: Sink, clock: Clock, outlooks: Callable[[], Sequence[Outlook]]
    ) -> None:
        self.address = (broker.host, broker.port)
        self.subscriber = Subscriber(broker, sink, clock, on_reached=self._on_reached, on_held=self._on_held)
        self._publisher = StatePublisher(outlooks, self.subscriber.publish)
        self._publishing: asyncio.Task[None] | None = None

    @property
    def said(self) -> str:
        """What it is and where, in words."""
        return "MQTT broker at {}:{}".format(*self.address)

    @property
    def trouble(self) -> str | None:
        """Why messages do not come, in words; None where they do."""
        return self.subscriber.trouble

    def use_mappings(self, mappings: Sequence[Mapping]) -> None:
        """Read other makers' payloads by these mappings from now on."""
        self.subscriber.use_mappings(mappings)

    async def start(self) -> None:
        """Begin; whether the broker is there or not shows in `trouble`."""
        await self.subscriber.start()
        self._publishing = asyncio.create_task(self._publisher.run(), name="states of trees")

    async def stop(self) -> None:
        """Take no more, acknowledge what is being stored, and leave."""
        if self._publishing is not None:
            self._publishing.cancel()
            await asyncio.wait((self._publishing,))
        await self.subscriber.stop()

    def _on_reached(self) -> None:
        self._publisher.anew()

    def _on_held(self, topic: str) -> None:
        self._publisher.held(topic)


def mqtt_in(
    settings: Settings,
    engine: Engine,
    clock: Clock,
    sink: Sink,
    outlooks: Callable[[], Sequence[Outlook]],
) -> MqttIn:
    """The listener or the broker of the settings; `outlooks` tells what a broker is to be told of.

    Raises RuntimeError, naming the setting, where they cannot be.
    """
    address = settings.mqtt_address
    if address.scheme == "listen":
        return OwnListener(_listener(settings, engine, clock, sink))
    broker = Broker(
        address.host,
        address.port,
        settings.mqtt_client_id or client_id(engine),
        settings.mqtt_user,
        settings.mqtt_password.get_secret_value(),
        _encrypted(settings.mqtt_ca) if address.scheme == "mqtts" else None,
    )
    return ExistingBroker(broker, sink, clock, outlooks)


def client_id(engine: Engine) -> str:
    """Who we are at a broker: made up at the first start and kept in the store, so that it outlasts moves."""
    kept = shop.setting(engine, CLIENT_ID)
    if kept is None:
        kept = f"slowcorner-{secrets.token_hex(4)}"
        shop.set_setting(engine, CLIENT_ID, kept)
    return str(kept)


def _listener(settings: Settings, engine: Engine, clock: Clock, sink: Sink) -> Listener:
    address = settings.mqtt_address
    wanted_user = settings.mqtt_user.encode()
    wanted_password = settings.mqtt_password.get_secret_value().encode()

    logins = Logins(engine, usual_hasher())
    at_this_machine = address.host in LOOPBACK_HOSTS

    def asks() -> bool:
        return bool(wanted_user) or not at_this_machine or logins.any_holds()

    if not at_this_machine and not wanted_user and not logins.any_holds():
        raise RuntimeError(
            f"mqtt {settings.mqtt!r} can be reached from other machines: give the nodes passwords first "
            "(slowcorner node-password PLACE NODE), or set mqtt_user and mqtt_password"
        )

    def is_shop(user: str) -> bool:
        return bool(wanted_user) and compare_digest(user.encode(), wanted_user)

    def login(user: str, password: bytes, client: str) -> bool:
        if not is_shop(user):
            return logins.login(user, password, client)
        if not logins.pace.may_try(user, client):
            return False
        right = compare_digest(password, wanted_password)
        (logins.pace.was_right if right else logins.pace.was_wrong)(user, client)
        return right

    def may_publish(user: str, topic: str) -> bool:
        return is_shop(user) or logins.may_publish(user, topic)

    return Listener(
        address.host,
        address.port,
        sink,
        clock,
        login=login,
        asks=asks,
        takes_presses=True,
        may_publish=may_publish,
        ssl_context=_identified(settings.mqtt_certificate, settings.mqtt_key),
    )


def _identified(certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """TLS 1.2 or later as the listener's own certificate and key have it; None where there is none."""
    if certificate is None or key is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate, key)
    except OSError as error:
        raise RuntimeError(
            f"mqtt_certificate {certificate} with mqtt_key {key}: they cannot be used: {error}"
        ) from error
    return context


def _encrypted(authority: Path | None) -> ssl.SSLContext:
    try:
        return encrypted(authority)
    except OSError as error:
        raise RuntimeError(
            f"mqtt_ca {authority}: no certificate of an authority can be read: {error}"
        ) from error
