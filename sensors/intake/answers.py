"""What is said to a client: in the form of its protocol level, and within what it takes.

The numbers are the sections of MQTT 5; 3.1.1 has no words for most of it.
"""

import asyncio
from dataclasses import replace

from sensors.intake.data_types import MAX_VARIABLE
from sensors.intake.encoder import encode
from sensors.intake.packets import (
    ACCEPTED,
    BAD_LOGIN,
    LEVEL,
    LEVEL_5,
    NOT_AUTHORISED,
    SUBSCRIPTION_REFUSED,
    UNAVAILABLE,
    Connack,
    Connect,
    Disconnect,
    Packet,
    Puback,
    Suback,
    Subscribe,
    Unsuback,
    Unsubscribe,
)
from sensors.intake.properties import Properties, Property, number
from sensors.intake.reason_codes import Reason

REASON_LIMIT = 300
"""A reason string goes out up to this many characters."""

_IN_3_1_1 = {
    Reason.SUCCESS: ACCEPTED,
    Reason.UNAVAILABLE: UNAVAILABLE,
    Reason.BAD_LOGIN: BAD_LOGIN,
    Reason.NOT_AUTHORISED: NOT_AUTHORISED,
}
"""How a CONNACK of 3.1.1 puts it (its 3.2.2.3); there are no other codes it could be asked for."""


NOT_LET_IN = {
    Reason.BAD_LOGIN: "its user name or password is wrong",
    Reason.NOT_AUTHORISED: "it gave no user name and password, or its will is under a topic of another",
    Reason.UNAVAILABLE: "its login could not be checked just now",
    Reason.BAD_AUTHENTICATION_METHOD: "it wants a way to log in other than user name and password",
    Reason.QOS_NOT_SUPPORTED: "its will has quality of service 2, which is not taken",
}
"""Why a client was not let in, for a person to read."""


class Answers:
    """Writes to one client, whose CONNECT settles the form. Until then it is 3.1.1's."""

    def __init__(self, writer: asyncio.StreamWriter) -> None:
        self._writer = writer
        self._level = LEVEL
        self._largest = MAX_VARIABLE
        self._explains = True

    def speak_as(self, connect: Connect) -> None:
        """Take the client's level, its largest packet (3.1.2.11.4) and its wish for reasons (3.1.2.11.7)."""
        self._level = connect.level
        self._largest = number(connect.properties, Property.MAXIMUM_PACKET_SIZE, MAX_VARIABLE)
        self._explains = number(connect.properties, Property.REQUEST_PROBLEM_INFORMATION, 1) == 1

    @property
    def speaks_5(self) -> bool:
        """Whether it is MQTT 5 that is spoken."""
        return self._level == LEVEL_5

    def say(self, packet: Packet) -> None:
        """Write a packet; one that is larger than the client takes is not sent (3.1.2.11.4)."""
        self._write(encode(packet, self._level))

    def acknowledgement(self, packet_id: int, code: Reason = Reason.SUCCESS, reason: str = "") -> bytes:
        """A PUBACK; 3.1.1 has no code for a message that was kept out, which is settled all the same."""
        if self._level == LEVEL or not (code or reason):
            return encode(Puback(packet_id))
        return self._fitting(Puback(packet_id, code, self._because(reason)))

    def connack(self, connect: Connect, code: Reason, client_id: str, max_packet: int) -> None:
        """Let a client in or not, and say to one of MQTT 5 what is taken here (3.2.2.3)."""
        if connect.level == LEVEL:
            self.say(Connack(_IN_3_1_1[code]))
            return
        if code:
            self.say(Connack(code))
            return
        # Absent, so that they have the value in brackets: topic alias maximum (0); receive maximum (65535):
        # a client that runs ahead is not read for a while, and a limit would end its connection (3.3.4);
        # retain available (1), for a retained message is taken; wildcard subscription available (1), for such
        # a filter is refused for itself, and 0 would end its client's connection (3.2.2.3.11).
        properties: list[tuple[Property, int | str]] = [
            (Property.MAXIMUM_QOS, 1),
            (Property.MAXIMUM_PACKET_SIZE, max_packet),
            (Property.SUBSCRIPTION_IDENTIFIER_AVAILABLE, 0),
            (Property.SHARED_SUBSCRIPTION_AVAILABLE, 0),
        ]
        if number(connect.properties, Property.SESSION_EXPIRY_INTERVAL, 0):
            properties.append((Property.SESSION_EXPIRY_INTERVAL, 0))  # no session is kept (3.2.2.3.2)
        if not connect.client_id:
            properties.append((Property.ASSIGNED_CLIENT_IDENTIFIER, client_id))
        self.say(Connack(code, properties=tuple(properties)))

    def refuse_connect(self, code: Reason, reason: str) -> None:
        """Answer a CONNECT of MQTT 5 that could not be read (3.1.4)."""
        self._level = LEVEL_5
        self.say(Connack(code, properties=_reason_string(reason)))

    def refuse_subscriptions(self, asked: Subscribe) -> None:
        """Grant none of the filters (3.9.3)."""
        code = Reason.NOT_AUTHORISED if self.speaks_5 else SUBSCRIPTION_REFUSED
        because = self._because("nothing is given here: this listener only takes") if self.speaks_5 else ()
        self._write(self._fitting(Suback(asked.packet_id, (code,) * len(asked.filters), because)))

    def unsubscribed(self, asked: Unsubscribe) -> None:
        """There was nothing to take back (3.11.3)."""
        codes = (Reason.NO_SUBSCRIPTION_EXISTED,) * len(asked.filters) if self.speaks_5 else ()
        self.say(Unsuback(asked.packet_id, codes))

    def farewell(self, code: Reason, reason: str) -> None:
        """Say why the connection is closed (3.14), as the last word; 3.1.1 has none for it."""
        if not self.speaks_5:
            return
        self._write(self._fitting(Disconnect(code, _reason_string(reason))))

    def _because(self, reason: str) -> Properties:
        return _reason_string(reason) if self._explains else ()

    def _fitting(self, packet: Puback | Suback | Disconnect) -> bytes:
        """With its reason string, or without where the client could not take it (3.4.2.2.2, 3.14.2.2.3)."""
        explained = encode(packet, self._level)
        if len(explained) <= self._largest:
            return explained
        return encode(replace(packet, properties=()), self._level)

    def _write(self, data: bytes) -> None:
        if len(data) <= self._largest:
            self._writer.write(data)


def _reason_string(reason: str) -> Properties:
    # A reason may quote what came: half characters and U+0000 have no place in a string of MQTT (1.5.4).
    words = reason.encode("utf-8", "replace").decode("utf-8").replace("\0", "?")[:REASON_LIMIT]
    return ((Property.REASON_STRING, words),) if words else ()
