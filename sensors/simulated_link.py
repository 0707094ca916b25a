"""A simulated node's connection: one thread, one MQTT client (paho), packs in order, few in flight."""

import logging
import threading
import time
from collections.abc import Sequence
from typing import Any, Protocol

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from sensors.clock import Clock, Millis

IN_FLIGHT = 8
"""Packs sent and not acknowledged at most."""

_KEEP_ALIVE_S = 30
_ANSWER_S = 5.0
_FAREWELL_S = 1.0
_LOOK_S = 0.05
"""How often the clock is looked at [s]."""
_FIRST_PAUSE_S = 0.1
_LONGEST_PAUSE_S = 2.0

_log = logging.getLogger(__name__)


class Speaker(Protocol):
    """A node that can say what it read."""

    @property
    def place(self) -> str:
        """Where it hangs."""
        ...

    @property
    def node(self) -> str:
        """What it is called there."""
        ...

    def pack(self, times: Sequence[Millis]) -> bytes:
        """The payload for those times."""
        ...


class Agenda(Protocol):
    """Which moments come next."""

    @property
    def past_is_told(self) -> bool:
        """Whether all of the past has been taken."""
        ...

    def take(self, now: Millis) -> list[Millis]:
        """The moments of the next pack; none if nothing is due."""
        ...


class NodeLink:
    """Sends what a node says, each pack until it is acknowledged, until it is asked to stop."""

    def __init__(
        self,
        speaker: Speaker,
        agenda: Agenda,
        host: str,
        port: int,
        clock: Clock,
        login: tuple[str, str] | None = None,
    ) -> None:
        self.past_acknowledged = threading.Event()
        self._name = f"{speaker.place}/{speaker.node}"
        self._topic = f"slowcorner/{self._name}"
        self._speaker = speaker
        self._agenda = agenda
        self._address = (host, port)
        self._clock = clock
        self._login = login
        self._stop = threading.Event()
        self._in_flight: dict[int, bytes] = {}
        self._answer: ReasonCode | None = None
        self._complained = False
        self._thread = threading.Thread(target=self._run, name=f"node {self._name}", daemon=True)

    def start(self) -> None:
        """Switch the node on."""
        self._thread.start()

    def ask_to_stop(self) -> None:
        """Ask the node to say good-bye and go."""
        self._stop.set()

    def join(self) -> None:
        """Wait until it is gone."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join()

    def _run(self) -> None:
        pause = _FIRST_PAUSE_S
        while not self._stop.is_set():
            client = self._client()
            try:
                client.connect(*self._address, keepalive=_KEEP_ALIVE_S)
                if self._welcomed(client):
                    pause = _FIRST_PAUSE_S
                    self._complained = False
                    self._talk(client)
                else:
                    self._complain(f"was refused: {self._answer or 'no answer'}")
            except OSError as fault:
                self._complain(f"does not reach {self._address[0]}:{self._address[1]}: {fault}")
            finally:
                client.disconnect()
            self._stop.wait(pause)
            pause = min(2 * pause, _LONGEST_PAUSE_S)

    def _complain(self, what: str) -> None:
        if not self._complained:
            _log.warning("simulated node %s %s; it keeps trying", self._name, what)
            self._complained = True

    def _client(self) -> mqtt.Client:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=self._topic.replace("/", "-"))
        client.will_set(f"{self._topic}/status", "offline", qos=1, retain=True)
        if self._login is not None:
            client.username_pw_set(*self._login)
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        return client

    def _on_connect(self, _client: mqtt.Client, _data: Any, _flags: Any, answer: Any, _more: Any) -> None:
        self._answer = answer

    def _on_publish(self, _client: mqtt.Client, _data: Any, number: int, _code: Any, _more: Any) -> None:
        self._in_flight.pop(number, None)

    def _welcomed(self, client: mqtt.Client) -> bool:
        self._answer = None
        deadline = time.monotonic() + _ANSWER_S
        while self._answer is None and time.monotonic() < deadline and not self._stop.is_set():
            if client.loop(_LOOK_S) != mqtt.MQTT_ERR_SUCCESS:
                break
        return self._answer is not None and not self._answer.is_failure

    def _talk(self, client: mqtt.Client) -> None:
        """Send until the connection is lost or the node is to stop."""
        unacknowledged = list(self._in_flight.values())
        self._in_flight.clear()
        client.publish(f"{self._topic}/status", "online", qos=1, retain=True)
        for payload in unacknowledged:
            self._send(client, payload)
        while not self._stop.is_set():
            self._send_due(client)
            if client.loop(_LOOK_S) != mqtt.MQTT_ERR_SUCCESS:
                return
            if self._agenda.past_is_told and not self._in_flight:
                self.past_acknowledged.set()
        self._take_leave(client)

    def _take_leave(self, client: mqtt.Client) -> None:
        """Say that the node goes, and wait a little for that and what was sent before to be acknowledged."""
        word = client.publish(f"{self._topic}/status", "offline", qos=1, retain=True)
        if word.rc != mqtt.MQTT_ERR_SUCCESS:
            return
        deadline = time.monotonic() + _FAREWELL_S
        while self._in_flight or not word.is_published():
            if client.loop(_LOOK_S) != mqtt.MQTT_ERR_SUCCESS or time.monotonic() > deadline:
                return

    def _send_due(self, client: mqtt.Client) -> None:
        while len(self._in_flight) < IN_FLIGHT:
            times = self._agenda.take(self._clock.now())
            if not times:
                return
            self._send(client, self._speaker.pack(times))

    def _send(self, client: mqtt.Client, payload: bytes) -> None:
        # In a client that was lost meanwhile the message only waits; it is then sent by the next one.
        self._in_flight[client.publish(f"{self._topic}/senml", payload, qos=1).mid] = payload
