"""What is said in MQTT between a node and the service, as plain values, for 3.1.1 and 5 alike.

In brackets are the sections of 3.1.1, and of 5 where it says so. What only 5 knows is left out in 3.1.1:
properties, the codes of PUBACK, UNSUBACK and DISCONNECT, and AUTH. Packets of quality of service 2 (PUBREC,
PUBREL, PUBCOMP) are not among them: that is not taken.
"""

from dataclasses import dataclass
from typing import NamedTuple

from sensors.intake.properties import Properties

LEVEL = 4
"""The protocol level that MQTT 3.1.1 goes by (3.1.2.2)."""

LEVEL_5 = 5
"""The one that MQTT 5 goes by (MQTT 5, 3.1.2.2)."""

ACCEPTED = 0x00
UNACCEPTABLE_LEVEL = 0x01
UNACCEPTABLE_CLIENT_ID = 0x02
UNAVAILABLE = 0x03
BAD_LOGIN = 0x04
NOT_AUTHORISED = 0x05
"""What a CONNACK of 3.1.1 may say (3.2.2.3)."""

SUBSCRIPTION_REFUSED = 0x80
"""What a SUBACK of 3.1.1 says to a filter that is not granted (3.9.3)."""


@dataclass(frozen=True, slots=True)
class Will:
    """What is to be published for a client whose connection ends without a DISCONNECT."""

    topic: str
    payload: bytes
    qos: int = 0
    retain: bool = False
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Connect:
    """A client presents itself. `keep_alive_s` is the longest it stays silent [s]; 0 for no limit.

    `level` is `LEVEL` or `LEVEL_5`; in 5 `clean_session` is called clean start (MQTT 5, 3.1.2.4).
    """

    client_id: str
    clean_session: bool = True
    keep_alive_s: int = 0
    user_name: str | None = None
    password: bytes | None = None
    will: Will | None = None
    level: int = LEVEL
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Connack:
    """The answer to a CONNECT: `code` 0 lets it in."""

    code: int
    session_present: bool = False
    properties: Properties = ()


class Publish(NamedTuple):
    """A message. `packet_id` is there with a quality of service over 0; `dup` marks one sent again."""

    topic: str
    payload: bytes
    qos: int = 0
    packet_id: int | None = None
    retain: bool = False
    dup: bool = False
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Puback:
    """A message of quality of service 1 has arrived for good; from `code` 0x80 on it was not taken."""

    packet_id: int
    code: int = 0
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Subscribe:
    """A client asks for messages: filters, each with the quality of service it wants.

    In MQTT 5 that number has further options from its third bit on (MQTT 5, 3.8.3.1).
    """

    packet_id: int
    filters: tuple[tuple[str, int], ...]
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Suback:
    """The answer to a SUBSCRIBE: a code for each filter, in its order."""

    packet_id: int
    codes: tuple[int, ...]
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Unsubscribe:
    """A client takes filters back."""

    packet_id: int
    filters: tuple[str, ...]
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Unsuback:
    """The answer to an UNSUBSCRIBE: in MQTT 5 with a code for each filter, in its order."""

    packet_id: int
    codes: tuple[int, ...] = ()
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Pingreq:
    """A client shows that it is there."""


@dataclass(frozen=True, slots=True)
class Pingresp:
    """The answer to a PINGREQ."""


@dataclass(frozen=True, slots=True)
class Disconnect:
    """A client takes its leave, and its will is void where `code` is 0. In MQTT 5 the service says it too."""

    code: int = 0
    properties: Properties = ()


@dataclass(frozen=True, slots=True)
class Auth:
    """A step of a login in several steps, which only MQTT 5 knows (its 3.15)."""

    code: int = 0
    properties: Properties = ()


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
    | Auth
)
