"""Readings from a broker that is already there: subscribes, and acknowledges what is stored.

The session is a lasting one under a fixed client id: what is published while nobody is here waits at the
broker. A lost connection is made again, after waits that grow.
"""

import asyncio
import logging
import random
from collections.abc import Awaitable, Callable, Sequence
from functools import partial

from paho.mqtt.client import topic_matches_sub
from paho.mqtt.enums import MQTTProtocolVersion

from sensors.clock import Clock, Millis, format_time
from sensors.intake.back_off import LONGEST_S, BackOff
from sensors.intake.broker import Broker, BrokerError, StoringError, VersionRefusedError
from sensors.intake.broker_connection import BrokerConnection
from sensors.intake.decoder import MAX_PACKET
from sensors.intake.message import Message, interpret
from sensors.mapping import Mapping
from sensors.reading import Rejected
from sensors.topics import KINDS, RACK, ROOT

Sink = Callable[[Message], Awaitable[object]]
"""Takes a message; what it returns is awaited, and is done when the message is stored."""

OWN_FILTERS = tuple(f"{ROOT}/+/+/{kind}" for kind in KINDS)
_OURS, _STATES = f"{ROOT}/", f"{ROOT}/{RACK}/"
STATES = f"{_STATES}+/state"
"""What the service publishes itself; read back only to learn what the broker still holds of it."""

KEPT_OF_LARGE = 1024
"""How much of a payload over the limit is kept with its rejection [bytes]."""

STOP_WAIT_S = 5.0
"""How long stopping waits for what is being stored [s]."""

log = logging.getLogger("slowcorner.mqtt")


class Subscriber:
    """Takes the nodes' messages from a broker and gives them to `sink`, one connection after the other.

    MQTT 5 is spoken, or 3.1.1 with a broker that knows no better. `on_reached` is called whenever a
    connection stands and its subscriptions are answered; `on_held` with the topic of each state of a tree
    that the broker holds from before. `wait` waits so many seconds; `chance` gives a number in [0, 1).
    """

    def __init__(
        self,
        broker: Broker,
        sink: Sink,
        clock: Clock,
        *,
        on_reached: Callable[[], None] = lambda: None,
        on_held: Callable[[str], None] | None = None,
        wait: Callable[[float], Awaitable[object]] = asyncio.sleep,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self.broker = broker
        self._sink = sink
        self._clock = clock
        self._on_reached = on_reached
        self._on_held = on_held
        self._wait = wait
        self._back_off = BackOff(chance)
        self._mappings: tuple[Mapping, ...] = ()
        self._version = MQTTProtocolVersion.MQTTv5
        self._connection: BrokerConnection | None = None
        self._task: asyncio.Task[None] | None = None
        self.changing: set[asyncio.Task[None]] = set()
        self._refused: dict[str, str] = {}
        self._lost_at: Millis | None = None
        self._lost_why: BrokerError = BrokerError("it was not tried yet")
        self._attempt = 0
        self._reached_before = False
        self._stopping = False

    @property
    def trouble(self) -> str | None:
        """Why the nodes' messages do not come, in words; None where they do."""
        if self._lost_at is not None:
            since = format_time(self._lost_at)
            if isinstance(self._lost_why, StoringError):
                return f"nothing is taken from the broker at {self.broker} since {since}: {self._lost_why}"
            return f"the broker at {self.broker} has not been reached since {since}: {self._lost_why}"
        if self._refused:
            said = ", ".join(f"{one} ({why})" for one, why in sorted(self._refused.items()))
            return f"the broker at {self.broker} does not let us read {said}"
        return None

    async def start(self) -> None:
        """Begin; returns at once, whether the broker is there or not."""
        self._stopping = False
        self._lost_at = self._clock.now()
        self._task = asyncio.create_task(self._run(), name=f"mqtt broker {self.broker}")

    async def stop(self) -> None:
        """Acknowledge what is being stored and leave. The broker keeps the session."""
        if self._task is None:
            return
        self._stopping = True
        connection, self._connection = self._connection, None
        if connection is not None:
            await connection.finish(STOP_WAIT_S)
        for task in (self._task, *self.changing):
            task.cancel()
        await asyncio.wait((self._task, *self.changing))
        self._task = None

    def publish(self, topic: str, payload: bytes) -> bool:
        """Publish, retained; False where there is no connection: `on_reached` tells when there is one."""
        return self._connection is not None and self._connection.publish(topic, payload)

    def use_mappings(self, mappings: Sequence[Mapping]) -> None:
        """Read other makers' topics by these mappings from now on, in place of those before."""
        before, self._mappings = self._filters(), tuple(mappings)
        if self._connection is not None:
            change = asyncio.create_task(self._change(self._connection, before), name="mqtt mappings")
            self.changing.add(change)
            change.add_done_callback(self.changing.discard)

    def _filters(self) -> dict[str, int]:
        filters = dict.fromkeys((*OWN_FILTERS, *(one.topic_filter for one in self._mappings)), 1)
        if self._on_held is not None:
            filters[STATES] = 0  # only what is held now matters: nothing of it is to wait for us
        return filters

    async def _change(self, connection: BrokerConnection, before: dict[str, int]) -> None:
        wanted = self._filters()
        gone = [one for one in before if one not in wanted]
        connection.unsubscribe(gone)
        new = [(one, qos) for one, qos in wanted.items() if one not in before]
        try:
            refused = await connection.subscribe(new) if new else {}
        except BrokerError:
            return  # the next connection asks for all of them
        self._refused = {one: why for one, why in (self._refused | refused).items() if one not in gone}

    async def _run(self) -> None:
        loop = asyncio.get_running_loop()
        while not self._stopping:
            began = loop.time()
            connection = BrokerConnection(self.broker, self._version, self._take)
            try:
                why = await self._live(connection)
            except VersionRefusedError as error:
                if self._version == MQTTProtocolVersion.MQTTv5:
                    log.info("The broker at %s does not answer MQTT 5; 3.1.1 is tried", self.broker)
                    self._version = MQTTProtocolVersion.MQTTv311
                    continue
                self._version = MQTTProtocolVersion.MQTTv5
                why = BrokerError(f"it answers neither MQTT 5 nor 3.1.1: {error}")
            except BrokerError as error:
                why = error
            finally:
                self._connection = None
                self._attempt += 1
                connection.close()
            works = connection.acknowledged > 0 and not isinstance(why, StoringError)
            if works or loop.time() - began > LONGEST_S:
                self._back_off.reset()
            if self._stopping:
                return
            self._lose(why)
            await self._wait(self._back_off.next_s())

    async def _live(self, connection: BrokerConnection) -> BrokerError:
        await connection.open()
        self._refused = await connection.subscribe(list(self._filters().items()))
        self._refused.pop(STATES, None)  # it does without
        self._connection = connection
        self._reach(connection)
        return await asyncio.shield(connection.ended)

    def _reach(self, connection: BrokerConnection) -> None:
        storing = isinstance(self._lost_why, StoringError)
        if not storing:
            log.info("The broker at %s is reached", self.broker)
            self._lost_at = None
        if self._reached_before and not connection.session_present:
            log.warning("The broker at %s kept no session: what was published meanwhile is lost", self.broker)
        self._reached_before = True
        if self._refused:
            log.warning("%s", self.trouble)
        self._on_reached()

    def _lose(self, why: BrokerError) -> None:
        if self._lost_at is None:
            self._lost_at = self._clock.now()
        if str(why) != str(self._lost_why):
            self._lost_why = why
            log.warning("%s", self.trouble)
        self._lost_why = why

    def _take(self, topic: str, payload: bytes, retained: bool) -> asyncio.Future[object]:
        if topic.startswith(_STATES) and topic.endswith("/state"):
            if retained and payload and self._on_held is not None:
                self._on_held(topic)
            return _nothing()
        # A retained copy is what was said once, and not now: a reading without a time of its own would be
        # taken for a new one, and a press for another coat. Only a status holds until it is taken back.
        if retained and not topic.endswith("/status"):
            return _nothing()
        if not topic.startswith(_OURS) and not self._is_mapped(topic):
            return _nothing()  # a lasting session still has what was asked for by a mapping that is gone
        now = self._clock.now()
        if len(payload) > MAX_PACKET:
            reason = f"payload of {len(payload)} bytes is over the limit of {MAX_PACKET} bytes"
            message = Message(now, rejected=(Rejected(topic[:200], reason, payload[:KEPT_OF_LARGE], now),))
        else:
            # Of an empty status it is not told whether it took back a retained one; it says nothing anyway.
            taken_back = retained or not payload
            message = interpret(topic, payload, now, retained=taken_back, mappings=self._mappings)
        return self._stored(message)

    def _stored(self, message: Message) -> asyncio.Future[object]:
        stored: asyncio.Future[object] = asyncio.ensure_future(self._sink(message))
        if self._lost_at is not None:
            stored.add_done_callback(partial(self._on_stored, self._attempt))
        return stored

    def _on_stored(self, attempt: int, stored: asyncio.Future[object]) -> None:
        """Storing works again, once something of this connection, and not of one before, is stored."""
        if attempt != self._attempt or stored.cancelled() or stored.exception() is not None:
            return
        if self._lost_at is not None and isinstance(self._lost_why, StoringError):
            log.info("Messages of the broker at %s are stored again", self.broker)
            self._lost_at = None

    def _is_mapped(self, topic: str) -> bool:
        return any(topic_matches_sub(one.topic_filter, topic) for one in self._mappings)


def _nothing() -> asyncio.Future[object]:
    """What needs no storing is done at once."""
    done: asyncio.Future[object] = asyncio.get_running_loop().create_future()
    done.set_result(None)
    return done
