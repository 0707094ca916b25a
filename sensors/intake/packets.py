"""What is said in MQTT 3.1.1 between a node and the service, as plain values. In brackets are its sections.

Packets of quality of service 2 (PUBREC, PUBREL, PUBCOMP) are not among them: that is not taken.
"""

from dataclasses import dataclass

LEVEL = 4
"""The protocol level that MQTT 3.1.1 goes by (3.1.2.2)."""

ACCEPTED = 0x00
UNACCEPTABLE_LEVEL = 0x01
UNACCEPTABLE_CLIENT_ID = 0x02
UNAVAILABLE = 0x03
BAD_LOGIN = 0x04
NOT_AUTHORISED = 0x05
"""What a CONNACK may say (3.2.2.3)."""

SUBSCRIPTION_REFUSED = 0x80
"""What a SUBACK says to a filter that is not granted (3.9.3)."""


class ProtocolError(Exception):
    """The other side broke the protocol, or asked what is not taken: the connection is to be closed.

    `reason` says what was wrong; `reply` is what to send before closing, if anything; `too_large` is set when
    a packet was over the size limit.
    """

    def __init__(self, reason: str, reply: bytes = b"", too_large: bool = False) -> None:
        super().__init__(reason)
        self.reason = reason
        self.reply = reply
        self.too_large = too_large


@dataclass(frozen=True, slots=True)
class Will:
    """What is to be published for a client whose connection ends without a DISCONNECT."""

    topic: str
    payload: bytes
    qos: int = 0
    retain: bool = False


@dataclass(frozen=True, slots=True)
class Connect:
    """A client presents itself. `keep_alive_s` is the longest it stays silent [s]; 0 for no limit."""

    client_id: str
    clean_session: bool = True
    keep_alive_s: int = 0
    user_name: str | None = None
    password: bytes | None = None
    will: Will | None = None


@dataclass(frozen=True, slots=True)
class Connack:
    """The answer to a CONNECT: `code` 0 lets it in."""

    code: int
    session_present: bool = False


@dataclass(frozen=True, slots=True)
class Publish:
    """A message. `packet_id` is there with a quality of service over 0; `dup` marks one sent again."""

    topic: str
    payload: bytes
    qos: int = 0
    packet_id: int | None = None
    retain: bool = False
    dup: bool = False


@dataclass(frozen=True, slots=True)
class Puback:
    """A message of quality of service 1 has arrived for good."""

    packet_id: int


@dataclass(frozen=True, slots=True)
class Subscribe:
    """A client asks for messages: filters, each with the quality of service it wants."""

    packet_id: int
    filters: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Suback:
    """The answer to a SUBSCRIBE: a code for each filter, in its order."""

    packet_id: int
    codes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Unsubscribe:
    """A client takes filters back."""

    packet_id: int
    filters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unsuback:
    """The answer to an UNSUBSCRIBE."""

    packet_id: int


@dataclass(frozen=True, slots=True)
class Pingreq:
    """A client shows that it is there."""


@dataclass(frozen=True, slots=True)
class Pingresp:
    """The answer to a PINGREQ."""


@dataclass(frozen=True, slots=True)
class Disconnect:
    """A client takes its leave: its will is void."""


Packet = (
    Connect
    | Connack
    | Publish
    | Puback
    | Subscribe
    | Suback
    | Unsubscribe
    | Unsuback
    | Pingreq
    | Pingresp
    | Disconnect
)
