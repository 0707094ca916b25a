"""A broker that is already there: where it is, who we are there, and what may go wrong with it."""

import ssl
from dataclasses import dataclass, field


class BrokerError(Exception):
    """The broker cannot be reached, or refuses us; the text says which and why."""


class VersionRefusedError(BrokerError):
    """The broker does not speak this version of MQTT."""


class StoringError(BrokerError):
    """What the broker sent could not be stored, so the connection was given up with no acknowledgement."""


@dataclass(frozen=True)
class Broker:
    """Where the broker is and who we are there. With `tls` the connection is encrypted."""

    host: str
    port: int
    client_id: str
    user: str = ""
    password: str = field(default="", repr=False)
    tls: ssl.SSLContext | None = field(default=None, repr=False)

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


def why_unreachable(error: OSError | ValueError) -> str:
    """What kept a connection from being made, in words."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not one to be trusted: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return f"no encrypted connection could be made: {error.reason or error}"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
