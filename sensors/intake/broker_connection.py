"""One connection to a broker, from CONNECT to its end. A message is acknowledged only when it is stored.

paho speaks MQTT; the event loop reads and writes its socket, so that no thread but the loop's touches it.
What was not acknowledged when a connection ends is forgotten with it: the broker sends it again to the
next one, under identifiers of its own (MQTT 5.0 and 3.1.1, 4.4).
"""

import asyncio
import logging
from collections.abc import Callable, Sequence
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.reasoncodes import ReasonCode

from sensors.intake import broker_client
from sensors.intake.breach import ProtocolError
from sensors.intake.broker import (
    Broker,
    BrokerError,
    StoringError,
    VersionRefusedError,
    check_let_in,
    why_unreachable,
)
from sensors.intake.broker_reader import BrokerReader, socket_of
from sensors.intake.encoder import puback
from sensors.intake.in_flight import InFlight
from sensors.intake.publish_sieve import Arrived

BEAT_S = 1.0
"""How often paho is given the time, for its signs of life [s]."""

ANSWER_WAIT_S = 10.0
"""How long the broker may take to answer a CONNECT or a SUBSCRIBE [s]."""

UNSPECIFIED = 128
"""paho's reason code where a connection just ended."""

Deliver = Callable[[str, bytes, bool], asyncio.Future[object]]
"""Takes topic, payload, and whether it is a retained copy; what it returns is done when that is stored."""

log = logging.getLogger("slowcorner.mqtt")


class BrokerConnection:
    """To be made, opened and closed in one event loop. `ended` is done, with the reason, when it is over."""

    def __init__(self, broker: Broker, version: MQTTProtocolVersion, deliver: Deliver) -> None:
        self.acknowledged = 0
        self.session_present = False
        self._loop = asyncio.get_running_loop()
        self.ended: asyncio.Future[BrokerError] = self._loop.create_future()
        self._broker = broker
        self._deliver = deliver
        self._answer: asyncio.Future[ReasonCode] = self._loop.create_future()
        self._granted: dict[int, asyncio.Future[list[ReasonCode]]] = {}
        self._in_flight = InFlight()
        self._finishing = False
        self._publish_refused = False
        self._beating: asyncio.TimerHandle | None = None
        self._client = broker_client.made(broker, version)
        self._reader = BrokerReader(self._client, self._take, self._on_breach)

    async def open(self) -> None:
        """Connect, and take up the session that the broker keeps. Raises BrokerError."""
        connecting = asyncio.ensure_future(
            asyncio.to_thread(broker_client.connect, self._client, self._broker)
        )
        try:
            await asyncio.shield(connecting)
        except asyncio.CancelledError:
            connecting.add_done_callback(self._leave_behind)
            raise
        except (OSError, ValueError) as error:
            raise BrokerError(why_unreachable(error)) from error
        self._join_loop()
        try:
            reason = await self._answered(self._answer, "CONNECT")
        except BrokerError as error:
            # What knows only an older version answers in words that paho does not take for an answer, or
            # just hangs up.
            if self.ended.done():
                raise VersionRefusedError(str(error)) from error
            raise
        check_let_in(self._broker, reason)

    async def subscribe(self, filters: Sequence[tuple[str, int]]) -> dict[str, str]:
        """Ask for topic filters, each with its quality of service; those refused, with the broker's reason.

        Raises BrokerError where the connection ends meanwhile.
        """
        packet_id = broker_client.subscribe(self._client, filters)
        if packet_id is None:
            raise await self._over()
        granted = self._granted[packet_id] = self._loop.create_future()
        try:
            reasons = await self._answered(granted, "SUBSCRIBE")
        finally:
            del self._granted[packet_id]
        return {
            one: str(reason) for (one, _), reason in zip(filters, reasons, strict=True) if reason.is_failure
        }

    def unsubscribe(self, filters: Sequence[str]) -> None:
        """Ask for these topic filters no more."""
        if filters:
            self._client.unsubscribe(list(filters))

    def publish(self, topic: str, payload: bytes) -> bool:
        """Publish, retained, with quality of service 1; False where the connection is over."""
        return self._client.publish(topic, payload, qos=1, retain=True).rc == MQTTErrorCode.MQTT_ERR_SUCCESS

    async def finish(self, patience_s: float) -> None:
        """Take no more; acknowledge what is being stored, within `patience_s` [s]; then leave."""
        self._finishing = True
        self._reader.stop()
        await self._in_flight.settle(patience_s)
        self._acknowledge()
        self.close()

    def close(self) -> None:
        """End the connection; what is not acknowledged is forgotten here, and kept by the broker."""
        self._end(BrokerError("the connection was closed"))

    def _leave_behind(self, connecting: asyncio.Future[None]) -> None:
        if not connecting.cancelled() and connecting.exception() is None:
            self._client.disconnect()

    def _join_loop(self) -> None:
        """From here on the event loop moves paho's bytes; before, a thread did, and no callback was set."""
        client = self._client
        client.on_connect, client.on_disconnect = self._on_connect, self._on_disconnect
        client.on_subscribe, client.on_publish = self._on_subscribe, self._on_publish
        client.on_socket_close = self._on_socket_close
        client.on_socket_register_write = self._on_want_write
        sock = client.socket()
        if sock is None:
            raise BrokerError("the connection was closed at once")
        self._reader.start()
        self._flush()  # the CONNECT
        self._beating = self._loop.call_later(BEAT_S, self._beat)

    async def _answered(self, answer: asyncio.Future[Any], question: str) -> Any:
        await asyncio.wait((answer, self.ended), timeout=ANSWER_WAIT_S, return_when=asyncio.FIRST_COMPLETED)
        if answer.done():
            return answer.result()
        if self.ended.done():
            raise self.ended.result()
        raise BrokerError(f"it did not answer a {question} within {ANSWER_WAIT_S:g} s")

    async def _over(self) -> BrokerError:
        self._end(BrokerError("the connection is closed"))
        return await self.ended

    def _write(self) -> None:
        self._client.loop_write()
        self._flush()

    def _flush(self) -> None:
        sock = socket_of(self._client)
        if sock is None:
            return
        try:
            sock.flush()
        except OSError as error:
            self._end(BrokerError(f"the connection was lost: {error.strerror or error}"))
            return
        if sock.unsent or self._client.want_write():
            self._loop.add_writer(sock, self._write)
        else:
            self._loop.remove_writer(sock)

    def _on_breach(self, error: ProtocolError) -> None:
        self._end(BrokerError(f"it broke the protocol: {error}"))

    def _take(self, message: Arrived) -> None:
        if self.ended.done():
            return
        try:
            stored = self._deliver(message.topic, message.payload, message.retain)
        except Exception as error:
            log.exception("A message of the broker could not be taken")
            self._end(StoringError(str(error)))
            return
        self._in_flight.add(message.packet_id, message.qos, len(message.payload), stored)
        if self._in_flight.oldest is stored:
            stored.add_done_callback(self._on_stored)
        if self._in_flight.full:
            self._reader.stop()

    def _on_stored(self, _stored: asyncio.Future[object]) -> None:
        self._acknowledge()

    def _acknowledge(self) -> None:
        sock = socket_of(self._client)
        if sock is None or self.ended.done():
            return
        try:
            for packet_id, qos in self._in_flight.stored():
                if qos == 1:
                    sock.send(puback(packet_id))
                elif qos == 2:
                    self._client.ack(packet_id, qos)
                self.acknowledged += qos > 0
        except StoringError as error:
            self._end(error)
            return
        self._flush()
        oldest = self._in_flight.oldest
        if oldest is not None:  # those behind it are looked at then: they are acknowledged in order
            oldest.add_done_callback(self._on_stored)
        if not self._finishing and self._in_flight.has_room:
            self._reader.start()

    def _beat(self) -> None:
        self._beating = self._loop.call_later(BEAT_S, self._beat)
        self._client.loop_misc()

    def _end(self, why: BrokerError) -> None:
        if self._beating is not None:
            self._beating.cancel()
        self._reader.stop()
        self._in_flight.forget()
        if not self.ended.done():
            self.ended.set_result(why)
        self._client.disconnect()
        self._client.loop_write()
        sock = self._client.socket()
        if sock is not None:  # the farewell could not be written
            self._loop.remove_writer(sock)
            sock.close()

    def _on_connect(
        self, _client: Client, _userdata: object, flags: Any, reason: ReasonCode, _properties: object
    ) -> None:
        self.session_present = flags.session_present
        if not self._answer.done():
            self._answer.set_result(reason)

    def _on_disconnect(
        self, _client: Client, _userdata: object, flags: Any, reason: ReasonCode, _properties: object
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            said = f"it closed the connection: {reason}"
        elif reason.value == UNSPECIFIED:
            said = "the connection was lost"
        else:
            said = f"the connection was lost: {reason}"
        self._loop.call_soon(self._end, BrokerError(said))

    def _on_subscribe(
        self, _client: Client, _userdata: object, mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        granted = self._granted.get(mid)
        if granted is not None and not granted.done():
            granted.set_result(reasons)

    def _on_publish(
        self, _client: Client, _userdata: object, _mid: int, reason: ReasonCode, _properties: object
    ) -> None:
        if reason.is_failure and not self._publish_refused:
            self._publish_refused = True
            log.warning("The broker at %s does not take what is published: %s", self._broker, reason)

    def _on_socket_close(self, _client: Client, _userdata: object, sock: Any) -> None:
        self._loop.remove_reader(sock)
        self._loop.remove_writer(sock)

    def _on_want_write(self, _client: Client, _userdata: object, sock: Any) -> None:
        self._loop.add_writer(sock, self._write)
