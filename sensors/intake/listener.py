"""The built-in MQTT listener: nodes publish to it, and PUBACK means that what they said is stored."""

import asyncio
import logging
import socket
import ssl
from collections.abc import Awaitable, Callable, Sequence
from concurrent.futures import ThreadPoolExecutor

from sensors.clock import Clock
from sensors.intake.decoder import MAX_PACKET
from sensors.intake.host import Client, Counts
from sensors.intake.message import Message
from sensors.intake.packets import Connect
from sensors.intake.reason_codes import Reason
from sensors.intake.session import Session, address_of
from sensors.intake.turned_away import TELL_EVERY_S, TurnedAway
from sensors.mapping import Mapping

Sink = Callable[[Message], Awaitable[object]]
"""Takes a message; what it returns is awaited, and is done when the message is stored."""

Login = Callable[[str, bytes, str], bool]
"""Whether a user name and a password, from an address, are right. Called in a thread of its own, for it may
take its time."""

MayPublish = Callable[[str, str], bool]
"""Whether who was let in by a user name may publish under a topic. Called for each message: to be quick."""

MAX_CONNECTIONS = 512
"""Connections at once; beyond, silent ones go first. Room for 200 nodes, each with a dead one left over."""

CONNECT_WAIT_S = 10.0
"""How long a connection may take to send its CONNECT [s]."""

STOP_WAIT_S = 5.0
"""How long stopping waits for what is being stored [s]."""

log = logging.getLogger("slowcorner.mqtt")


class Listener:
    """An MQTT server, of 3.1.1 and of 5, that takes messages and gives none.

    `port` 0 lets the system choose one, see `address`. Each message goes to `sink` as it comes and is
    acknowledged in its order once the sink is done; if the sink fails, the connection is closed with no
    acknowledgement, so that the client sends again. A payload that cannot be understood is handed over as
    rejected and is acknowledged. With `login`, a user name and a password are asked for, once `asks` says so
    (looked at in the login's thread at each CONNECT, until it does): who was let in unasked has to come again
    then. Without
    `takes_presses`, button presses are rejected. With `ssl_context` the connections are encrypted.
    A message that `may_publish` forbids is kept as rejected, and a client with such a will is not let in.
    Connections that are not let in are told of as rejected, the first of a kind at once and more of them once
    in `tell_every_s` [s]. `mappings`, which may be set at any time, read what is published under other topics
    than ours.
    """

    def __init__(
        self,
        host: str,
        port: int,
        sink: Sink,
        clock: Clock,
        login: Login | None = None,
        max_packet: int = MAX_PACKET,
        *,
        asks: Callable[[], bool] = lambda: True,
        takes_presses: bool = False,
        connect_wait_s: float = CONNECT_WAIT_S,
        ssl_context: ssl.SSLContext | None = None,
        may_publish: MayPublish | None = None,
        tell_every_s: float = TELL_EVERY_S,
    ) -> None:
        self.clock = clock
        self.counts = Counts()
        self.max_packet = max_packet
        self.takes_presses = takes_presses
        self.connect_wait_s = connect_wait_s
        self.mappings: Sequence[Mapping] = ()
        self._may_publish = may_publish
        self._turned_away = TurnedAway(self.deliver, clock, tell_every_s)
        self._ssl_context = ssl_context
        self._host = host
        self._port = port
        self._sink = sink
        self._login = login
        self._asks = asks
        self._has_asked = False
        self._unasked: set[Client] = set()
        self._login_thread: ThreadPoolExecutor | None = None
        self._server: asyncio.Server | None = None
        self._sessions: dict[asyncio.Task[None], Session] = {}
        self._by_client: dict[str, Client] = {}
        self._deliveries: set[asyncio.Future[object]] = set()
        self._failing = False
        self._stopping = False

    @property
    def address(self) -> tuple[str, int]:
        """The address it listens on. Raises RuntimeError when it does not."""
        if self._server is None or not self._server.sockets:
            raise RuntimeError("the MQTT listener is not started")
        host, port = self._server.sockets[0].getsockname()[:2]
        return host, port

    async def start(self) -> None:
        """Begin to listen. Raises OSError when the address cannot be had."""
        self._stopping = False
        self._login_thread = ThreadPoolExecutor(1, thread_name_prefix="slowcorner-login")
        self._server = await asyncio.start_server(
            self._accept,
            self._host,
            self._port,
            ssl=self._ssl_context,
            backlog=MAX_CONNECTIONS,
            ssl_handshake_timeout=self.connect_wait_s if self._ssl_context else None,
        )

    async def stop(self) -> None:
        """Close every connection and wait for what is being stored. Wills are not said: nobody left."""
        if self._server is None:
            return
        self._stopping = True
        self._server.close()
        for session in self._sessions.values():
            session.forget_will()
            session.dismiss(Reason.SHUTTING_DOWN, "the service is stopping")
        if self._sessions:
            await asyncio.wait(self._sessions)
        await self._server.wait_closed()
        self._turned_away.close()
        if self._login_thread is not None:
            self._login_thread.shutdown(wait=False, cancel_futures=True)
        if self._deliveries:
            _, left = await asyncio.wait(self._deliveries, timeout=STOP_WAIT_S)
            for delivery in left:
                delivery.cancel()
            if left:
                await asyncio.wait(left)
                log.error("%d messages were still not stored and were not acknowledged", len(left))
        self._server = None

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.counts.connections += 1
        if self._stopping or (len(self._sessions) >= MAX_CONNECTIONS and not self._make_room()):
            self.counts.refused += 1
            if not self._stopping:
                self._tell_too_many(address_of(writer))
            writer.transport.abort()
            return
        # So that the system finds out about clients that vanish while they owe no sign of life.
        writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        session = Session(reader, writer, self)
        session.task = asyncio.create_task(session.run(), name=f"mqtt connection {self.counts.connections}")
        self._sessions[session.task] = session
        session.task.add_done_callback(self._ended)

    def _make_room(self) -> bool:
        """Close the connection that has waited longest without a CONNECT, if there is one.

        Else silent ones could keep every node out for as long as a CONNECT may take.
        """
        for task, session in self._sessions.items():
            if not session.client_id and not task.cancelling():
                self.counts.refused += 1
                self._tell_too_many(session.address)
                task.cancel()
                return True
        return False

    def _tell_too_many(self, address: str) -> None:
        what = f"a connection from {address} was closed unheard"
        self.turned_away("too many", f"{what}: {MAX_CONNECTIONS} are open, the most that are taken")

    def _ended(self, task: asyncio.Task[None]) -> None:
        session = self._sessions.pop(task)
        self._unasked.discard(session)
        session.hang_up()  # a task that is cancelled before its first turn closes nothing itself
        if self._by_client.get(session.client_id) is session:
            del self._by_client[session.client_id]
        if not task.cancelled() and (error := task.exception()) is not None:
            log.error("An MQTT connection ended by a fault of ours", exc_info=error)

    async def admit(self, session: Client, connect: Connect) -> Reason:
        """Let a client in or not: a reason for its CONNACK. One of the same name is shown out first."""
        if self._login is not None:
            code = await self._check(self._login, connect, session)
            if code:
                return code
        if connect.will is not None and not self.is_allowed(session, connect.will.topic):
            return Reason.NOT_AUTHORISED
        former = self._by_client.get(session.client_id)
        self._by_client[session.client_id] = session
        if former is not None:
            # Its will goes to the sink before the newcomer can say anything.
            former.say_will()
            former.dismiss(Reason.TAKEN_OVER, "another connection came by the same client identifier")
        return Reason.SUCCESS

    def is_allowed(self, session: Client, topic: str) -> bool:
        """Whether a client may publish under a topic."""
        if self._may_publish is None or session in self._unasked:
            return True
        return self._may_publish(session.user_name, topic)

    async def _check(self, login: Login, connect: Connect, session: Client) -> Reason:
        loop = asyncio.get_running_loop()
        try:
            asked, reason = await loop.run_in_executor(
                self._login_thread, self._judge, login, connect, session.address
            )
        except Exception:
            log.exception("The login of an MQTT client could not be checked")
            return Reason.UNAVAILABLE
        if not asked:
            self._unasked.add(session)
        elif self._unasked:
            why = "nodes have passwords now: come again with a user name and a password"
            for other in list(self._unasked):
                other.forget_will()  # it is not the client's doing
                other.dismiss(Reason.NOT_AUTHORISED, why)
            self._unasked.clear()
        return reason

    def _judge(self, login: Login, connect: Connect, address: str) -> tuple[bool, Reason]:
        """Whether who connects is asked at all, and how it is answered."""
        self._has_asked = self._has_asked or self._asks()
        if not self._has_asked:
            return False, Reason.SUCCESS
        if connect.user_name is None or connect.password is None:
            return True, Reason.NOT_AUTHORISED
        right = login(connect.user_name, connect.password, address)
        return True, Reason.SUCCESS if right else Reason.BAD_LOGIN

    def turned_away(self, kind: str, what: str) -> None:
        """A connection was not let in: told of where payloads that are kept out are."""
        self._turned_away.tell(kind, what)

    def deliver(self, message: Message) -> asyncio.Future[object]:
        """Hand a message to the sink; done when it is stored. The listener keeps hold of it until then."""
        delivery: asyncio.Future[object]
        try:
            stored = self._sink(message)
            if asyncio.iscoroutine(stored):
                delivery = asyncio.create_task(stored, name="mqtt delivery")
            else:
                delivery = asyncio.ensure_future(stored)
        except Exception as error:
            delivery = asyncio.get_running_loop().create_future()
            delivery.set_exception(error)
        self._deliveries.add(delivery)
        delivery.add_done_callback(self._delivered)
        return delivery

    def _delivered(self, delivery: asyncio.Future[object]) -> None:
        self._deliveries.discard(delivery)
        error = None if delivery.cancelled() else delivery.exception()
        if error is not None:
            self.counts.not_stored += 1
            if not self._failing:
                log.error("Readings cannot be stored and are not acknowledged until they can: %s", error)
        elif self._failing and not delivery.cancelled():
            log.info("Readings are stored again")
        if not delivery.cancelled():
            self._failing = error is not None
