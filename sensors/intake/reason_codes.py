"""MQTT 5's reason codes, and which packet may carry which (its 2.4 and the tables of chapter 3)."""

from enum import IntEnum


class Reason(IntEnum):
    """How something went: from 0x80 on, not as it was asked."""

    SUCCESS = 0x00
    """Also a normal disconnection and a granted quality of service 0."""
    GRANTED_QOS_1 = 0x01
    GRANTED_QOS_2 = 0x02
    DISCONNECT_WITH_WILL = 0x04
    NO_MATCHING_SUBSCRIBERS = 0x10
    NO_SUBSCRIPTION_EXISTED = 0x11
    CONTINUE_AUTHENTICATION = 0x18
    RE_AUTHENTICATE = 0x19
    UNSPECIFIED = 0x80
    MALFORMED_PACKET = 0x81
    PROTOCOL_ERROR = 0x82
    IMPLEMENTATION_SPECIFIC = 0x83
    UNSUPPORTED_VERSION = 0x84
    BAD_CLIENT_ID = 0x85
    BAD_LOGIN = 0x86
    NOT_AUTHORISED = 0x87
    UNAVAILABLE = 0x88
    BUSY = 0x89
    BANNED = 0x8A
    SHUTTING_DOWN = 0x8B
    BAD_AUTHENTICATION_METHOD = 0x8C
    KEEP_ALIVE_TIMEOUT = 0x8D
    TAKEN_OVER = 0x8E
    BAD_TOPIC_FILTER = 0x8F
    BAD_TOPIC = 0x90
    PACKET_ID_IN_USE = 0x91
    PACKET_ID_NOT_FOUND = 0x92
    RECEIVE_MAXIMUM_EXCEEDED = 0x93
    BAD_TOPIC_ALIAS = 0x94
    PACKET_TOO_LARGE = 0x95
    MESSAGE_RATE_TOO_HIGH = 0x96
    QUOTA_EXCEEDED = 0x97
    ADMINISTRATIVE_ACTION = 0x98
    BAD_PAYLOAD_FORMAT = 0x99
    RETAIN_NOT_SUPPORTED = 0x9A
    QOS_NOT_SUPPORTED = 0x9B
    USE_ANOTHER_SERVER = 0x9C
    SERVER_MOVED = 0x9D
    SHARED_SUBSCRIPTIONS_NOT_SUPPORTED = 0x9E
    CONNECTION_RATE_EXCEEDED = 0x9F
    MAXIMUM_CONNECT_TIME = 0xA0
    SUBSCRIPTION_IDS_NOT_SUPPORTED = 0xA1
    WILDCARD_SUBSCRIPTIONS_NOT_SUPPORTED = 0xA2


CODES: dict[str, frozenset[int]] = {
    # 3.2.2.2, which has 0x99 for a will; 2.4 leaves it out (from memory)
    "CONNACK": frozenset((0x00, *range(0x80, 0x8B), 0x8C, 0x90, 0x95, 0x97, *range(0x99, 0x9E), 0x9F)),
    # 3.4.2.1
    "PUBACK": frozenset((0x00, 0x10, 0x80, 0x83, 0x87, 0x90, 0x91, 0x97, 0x99)),
    # 3.9.3
    "SUBACK": frozenset(
        (0x00, 0x01, 0x02, 0x80, 0x83, 0x87, 0x8F, 0x91, 0x97, 0x9E, 0xA1, 0xA2),
    ),
    # 3.11.3
    "UNSUBACK": frozenset((0x00, 0x11, 0x80, 0x83, 0x87, 0x8F, 0x91)),
    # 3.14.2.1, and 0x8C, which only 2.4 has for it
    "DISCONNECT": frozenset(
        (0x00, 0x04, *range(0x80, 0x84), 0x87, 0x89, *range(0x8B, 0x91), *range(0x93, 0xA3))
    ),
    # 3.15.2.1
    "AUTH": frozenset((0x00, 0x18, 0x19)),
}
"""The codes each packet may carry."""

FROM_SERVERS_ONLY = frozenset((0x87, 0x89, 0x8B, 0x8D, 0x8E, 0x8F, *range(0x9A, 0xA3)))
"""Codes of a DISCONNECT that no client may send (3.14.2.1): 0x9A to 0xA2 are the server's limits."""
