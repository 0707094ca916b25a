"""Reads what a broker sends: its messages itself, all else through paho; in turns with the event loop."""

import asyncio
from collections import deque
from collections.abc import Callable
from typing import cast

from paho.mqtt.client import Client, MQTTMessage

from sensors.intake.breach import ProtocolError
from sensors.intake.buffered_socket import BufferedSocket
from sensors.intake.publish_sieve import Arrived

BURST = 100
"""Messages taken in one turn of the event loop at most, so that others get their turn."""


def socket_of(client: Client) -> BufferedSocket | None:
    """The socket of a `BufferedClient`, None where it is not connected."""
    return cast(BufferedSocket | None, client.socket())


class BrokerReader:
    """`take` gets each message, in the order they came; `breach` what is wrong with what is no packet."""

    def __init__(
        self, client: Client, take: Callable[[Arrived], None], breach: Callable[[ProtocolError], None]
    ) -> None:
        self.reads = False
        self._loop = asyncio.get_running_loop()
        self._client = client
        self._take = take
        self._breach = breach
        self._through_paho: deque[Arrived] = deque()
        self._goes_on = False
        client.on_message = self._on_message

    def start(self) -> None:
        """Begin to read, or go on; with what was read ahead, of which the system has nothing more to tell."""
        sock = socket_of(self._client)
        if sock is not None and not self.reads:
            self.reads = True
            self._loop.add_reader(sock, self._readable)
            self._go_on()

    def stop(self) -> None:
        """Read no more, until it is started again."""
        sock = socket_of(self._client)
        if sock is not None and self.reads:
            self._loop.remove_reader(sock)
        self.reads = False

    def _readable(self) -> None:
        if not self._goes_on:  # else its turn comes anyway, and two would take one more each time
            self._read()

    def _go_on(self) -> None:
        if not self._goes_on:
            self._goes_on = True
            self._loop.call_soon(self._read_on)

    def _read_on(self) -> None:
        self._goes_on = False
        self._read()

    def _read(self) -> None:
        sock = socket_of(self._client)
        if sock is None:
            return
        for _ in range(BURST):
            if not self.reads:
                return
            try:
                message = sock.next_message()
            except ProtocolError as error:
                self._breach(error)
                return
            if message is not None:
                self._take(message)
            elif sock.has_others:
                self._client.loop_read()  # one packet, or what is there of it
                while self._through_paho:
                    self._take(self._through_paho.popleft())
                if socket_of(self._client) is not sock:
                    return
            elif not sock.fill():
                return
        self._go_on()

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        payload = bytes(message.payload)
        self._through_paho.append(Arrived(message.topic, payload, message.retain, message.mid, message.qos))
