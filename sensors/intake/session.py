"""One client's connection, from CONNECT to its end. A message is acknowledged only when it is stored.

The numbers are the sections of MQTT 5, which in what is named here are those of 3.1.1 too unless it says so.
"""

import asyncio
import logging
import secrets
from contextlib import suppress

from sensors.intake.answers import NOT_LET_IN, Answers
from sensors.intake.breach import ProtocolError
from sensors.intake.decoder import Decoder
from sensors.intake.host import Host
from sensors.intake.keeping_out import why_kept_out
from sensors.intake.message import Message, forbidden, interpret
from sensors.intake.only_in_5 import cannot_be_served, check_disconnect, check_publish, check_subscribe
from sensors.intake.packets import (
    LEVEL_5,
    Connect,
    Disconnect,
    Packet,
    Pingreq,
    Pingresp,
    Publish,
    Subscribe,
    Unsubscribe,
    Will,
)
from sensors.intake.reason_codes import Reason
from sensors.intake.unsettled import Taken, Unsettled
from sensors.reading import Rejected
from sensors.topics import quoted

CHUNK = 64 * 1024
"""Bytes taken from a connection in one go."""

LINGER_S = 2.0
"""How long a closing connection may take to send its last bytes [s]."""

log = logging.getLogger("slowcorner.mqtt")


class _NotStoredError(Exception):
    """The sink failed: without an acknowledgement the client sends again, to a connection that works."""


class Session:
    """One connection. `task` runs it; whoever made the session owns the task."""

    task: asyncio.Task[None]

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, host: Host) -> None:
        self.client_id = ""
        self.user_name = ""
        self.address = address_of(writer)
        self._reader = reader
        self._writer = writer
        self._answers = Answers(writer)
        self._host = host
        self._decoder = Decoder(max_packet=host.max_packet)
        self._silence_s: float | None = host.connect_wait_s
        self._will: Will | None = None
        self._farewell: tuple[Reason, str] | None = None
        self._unsettled = Unsettled()
        self._is_in = False
        self._cut_off = False

    async def run(self) -> None:
        """Serve the client until one side ends the connection."""
        try:
            connect = await self._let_in()
            if connect is not None:
                async with asyncio.TaskGroup() as tasks:
                    tasks.create_task(self._read(connect), name=f"mqtt read {self.client_id}")
                    tasks.create_task(self._acknowledge(), name=f"mqtt acknowledge {self.client_id}")
        except* OSError:
            pass  # the client is gone
        except* _NotStoredError:
            self._farewell = Reason.BUSY, "what was published could not be stored: send it again"
        finally:
            self.say_will()
            await self._close()

    def say_will(self) -> None:
        """Publish the will, once, of a client that left without a DISCONNECT (3.1.2.5).

        At once: a will delay interval ends with the session at the latest (3.1.3.2.2), and here no session
        outlives its connection.
        """
        if self._will is not None:
            topic, payload = self._will.topic, self._will.payload
            allowed = self._host.is_allowed(self, topic)
            self._host.deliver(self._interpret(topic, payload, self._will.retain, allowed))
            self._will = None

    def dismiss(self, code: Reason, reason: str) -> None:
        """End the connection from our side, and tell a client of MQTT 5 why (3.14)."""
        self._farewell = code, reason
        self.task.cancel()

    def hang_up(self) -> None:
        """Make sure that the connection is closed."""
        self._writer.transport.abort()

    def forget_will(self) -> None:
        """Let the connection end without its will: it is not the client's doing."""
        self._will = None

    async def _let_in(self) -> Connect | None:
        """Take the CONNECT, which must come first and soon (3.1, 4.2), and answer it; None for not let in."""
        try:
            connect = await self._next_packet()
            if connect is not None and not isinstance(connect, Connect):
                raise ProtocolError(f"{_name(connect)} came before CONNECT")
        except ProtocolError as breach:
            self._breached(breach)
            connect = None
        except TimeoutError:
            wait = f"{self._host.connect_wait_s:g} s"
            self._host.turned_away(
                "silent", f"a connection from {self.address} sent no CONNECT in {wait} and was closed"
            )
            connect = None
        else:
            if connect is None and self._decoder.is_within_packet:
                what = f"a connection from {self.address} was closed by its client within its first packet"
                self._host.turned_away("half", what)
        if connect is None:
            self._host.counts.refused += 1
            return None
        self.client_id = connect.client_id or f"unnamed-{secrets.token_hex(6)}"
        self.user_name = connect.user_name or ""
        self._answers.speak_as(connect)
        code = cannot_be_served(connect) or await self._host.admit(self, connect)
        self._answers.connack(connect, code, self.client_id, self._host.max_packet)
        if code:
            self._host.counts.refused += 1
            who = f"MQTT client {quoted(self.client_id)}, user {quoted(self.user_name)}, from {self.address}"
            self._host.turned_away(f"not let in {code}", f"{who}, was not let in: {NOT_LET_IN[code]}")
            return None
        self._is_in = True
        self._will = connect.will
        # 3.1.2.10: one and a half times the keep-alive; 0 switches it off.
        self._silence_s = connect.keep_alive_s * 1.5 or None
        return connect

    async def _next_packet(self) -> Packet | None:
        """The next packet, None when the client has closed. Raises TimeoutError after too long a silence."""
        packet = self._decoder.next_packet()
        if packet is None:
            async with asyncio.timeout(self._silence_s):
                while packet is None:
                    data = await self._reader.read(CHUNK)
                    if not data:
                        return None
                    self._decoder.feed(data)
                    packet = self._decoder.next_packet()
        return packet

    async def _read(self, connect: Connect) -> None:
        try:
            while (packet := await self._next_packet()) is not None:
                if isinstance(packet, Publish):
                    await self._take(packet)
                elif isinstance(packet, Disconnect):
                    check_disconnect(packet, connect)
                    if packet.code == Reason.SUCCESS:  # 3.14.4: with any other, the will is said
                        self._will = None
                    break
                else:
                    await self._answer(packet)
        except ProtocolError as breach:
            self._breached(breach)
        except TimeoutError:
            log.info("MQTT client %s was silent for %g s", quoted(self.client_id), self._silence_s)
            self._farewell = Reason.KEEP_ALIVE_TIMEOUT, f"silent for {self._silence_s:g} s"
        except OSError:
            pass  # the client is gone
        self._unsettled.end()

    async def _take(self, publish: Publish) -> None:
        if publish.qos == 2:
            reason = "quality of service 2 is not taken: publish with 1"
            raise ProtocolError(reason, code=Reason.QOS_NOT_SUPPORTED)  # 3.2.2.3.4
        if self._answers.speaks_5:
            check_publish(publish)
        allowed = self._host.is_allowed(self, publish.topic)
        message = self._interpret(publish.topic, publish.payload, publish.retain, allowed)
        code, reason = Reason.SUCCESS, ""
        if message.rejected and self._answers.speaks_5:
            code, reason = why_kept_out(publish, message, allowed, self._host.mappings)
        stored = self._host.deliver(message)
        await self._unsettled.add(Taken(publish.packet_id, len(publish.payload), stored, code, reason))

    def _interpret(self, topic: str, payload: bytes, retained: bool, allowed: bool) -> Message:
        host = self._host
        now = host.clock.now()
        if not allowed:
            # 3.1.1, 3.3.5.2: acknowledged, or closed. A node that is closed sends the same for ever.
            message = forbidden(topic, payload, now, self.user_name)
        else:
            message = interpret(
                topic,
                payload,
                now,
                retained=retained,
                takes_presses=host.takes_presses,
                mappings=host.mappings,
            )
        host.counts.messages += 1
        host.counts.rejected += len(message.rejected)
        return message

    async def _answer(self, packet: Packet) -> None:
        match packet:
            case Pingreq():
                self._answers.say(Pingresp())
            case Subscribe():
                if self._answers.speaks_5:
                    check_subscribe(packet)
                self._answers.refuse_subscriptions(packet)
            case Unsubscribe():
                self._answers.unsubscribed(packet)
            case _:  # AUTH among them, for no authentication method was agreed on (4.12)
                reason = f"{_name(packet)} is not for a client to send here"
                raise ProtocolError(reason, code=Reason.PROTOCOL_ERROR)
        await self._writer.drain()

    async def _acknowledge(self) -> None:
        """Send a PUBACK for each message that is stored, in the order they came (4.6)."""
        while True:
            settled, failed = await self._unsettled.settle()
            if not settled and not failed:
                return
            acknowledgements = [
                self._answers.acknowledgement(one.packet_id, one.code, one.reason)
                for one in settled
                if one.packet_id is not None
            ]
            self._writer.write(b"".join(acknowledgements))
            await self._writer.drain()
            if failed:
                raise _NotStoredError

    def _breached(self, breach: ProtocolError) -> None:
        """Count it, answer it where the standard has an answer, and keep it if the client had been let in."""
        self._host.counts.breaches += 1
        self._host.counts.too_large += breach.too_large
        if self._is_in:
            self._farewell, self._cut_off = (breach.code, breach.reason), True
        elif breach.reply:
            self._writer.write(breach.reply)
        elif self._decoder.level == LEVEL_5:
            self._answers.refuse_connect(breach.code, breach.reason)
        if not self._is_in:
            what = f"a connection from {self.address} was closed before it was let in: {breach.reason}"
            self._host.turned_away("breach", what)
            return
        client = f"MQTT client {quoted(self.client_id)}"
        log.warning("%s broke the protocol and its connection is closed: %s", client, breach.reason)
        now = self._host.clock.now()
        rejected = Rejected(client, f"{breach.reason}; the connection was closed", b"", now)
        self._host.counts.rejected += 1
        self._host.deliver(Message(now, rejected=(rejected,)))

    async def _close(self) -> None:
        if self._farewell is not None and self._is_in:
            self._answers.farewell(*self._farewell)
        try:
            if self._cut_off and self._answers.speaks_5:
                await self._hear_out()
        finally:
            self._writer.close()
        try:
            async with asyncio.timeout(LINGER_S):
                await self._writer.wait_closed()
        except TimeoutError:
            self._writer.transport.abort()
        except OSError:
            pass  # the client is gone

    async def _hear_out(self) -> None:
        """Read on and forget, for a while: closing on unread bytes would undo our last word."""
        with suppress(OSError, TimeoutError):
            async with asyncio.timeout(LINGER_S):
                if self._writer.can_write_eof():
                    self._writer.write_eof()
                while await self._reader.read(CHUNK):
                    pass


def address_of(writer: asyncio.StreamWriter) -> str:
    """Where a connection comes from, for a person to read."""
    peer = writer.get_extra_info("peername")
    return str(peer[0]) if peer else "an unknown address"


def _name(packet: Packet) -> str:
    return type(packet).__name__.upper()
