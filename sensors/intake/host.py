"""What a session asks of the listener that has it, and what the listener counts."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from sensors.clock import Clock
from sensors.intake.message import Message
from sensors.intake.packets import Connect
from sensors.intake.reason_codes import Reason
from sensors.mapping import Mapping


@dataclass
class Counts:
    """What has come in since the start."""

    connections: int = 0
    refused: int = 0
    """Connections that were not let in."""
    messages: int = 0
    rejected: int = 0
    """Payloads, or records of them, that were kept out."""
    breaches: int = 0
    """Connections closed for breaking the protocol."""
    too_large: int = 0
    """Packets over the size limit, among the breaches."""
    not_stored: int = 0
    """Messages the sink failed on, and that were not acknowledged."""


class Client(Protocol):
    """What the listener asks of a session."""

    client_id: str
    user_name: str
    address: str

    def say_will(self) -> None:
        """Publish the will, once."""
        ...

    def forget_will(self) -> None:
        """Let the connection end without its will: it is not the client's doing."""
        ...

    def dismiss(self, code: Reason, reason: str) -> None:
        """End the connection from our side, and tell a client of MQTT 5 why."""
        ...


class Host(Protocol):
    """What a session asks of the listener that has it."""

    clock: Clock
    counts: Counts
    max_packet: int
    takes_presses: bool
    connect_wait_s: float
    mappings: Sequence[Mapping]

    async def admit(self, session: Client, connect: Connect) -> Reason:
        """Let a client in or not: how its CONNACK puts it in MQTT 5."""
        ...

    def is_allowed(self, session: Client, topic: str) -> bool:
        """Whether a client may publish under a topic."""
        ...

    def turned_away(self, kind: str, what: str) -> None:
        """A connection was not let in; what is of one kind is told of together."""
        ...

    def deliver(self, message: Message) -> asyncio.Future[object]:
        """Hand a message to the sink; done when it is stored."""
        ...
