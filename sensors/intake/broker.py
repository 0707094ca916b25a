"""A broker that is already there: where it is, who we are there, and what may go wrong with it."""

import ssl
from dataclasses import dataclass, field
from pathlib import Path

from paho.mqtt.reasoncodes import ReasonCode

UNSUPPORTED_VERSION = 132
REFUSED_LOGINS = frozenset({134, 135})
"""Reason codes of a CONNACK (MQTT 5.0, 3.2.2.2): bad user name or password, not authorised."""


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


class _SelfClosing(ssl.SSLSocket):
    """A socket that does not stay open where the handshake fails, for paho leaves it lying then."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except (OSError, ValueError):
            self.close()
            raise


def encrypted(authority: Path | None = None) -> ssl.SSLContext:
    """TLS 1.2 or later; the broker's certificate is checked by the machine's authorities, or by this file's.

    Raises OSError (ssl.SSLError among it) where the file cannot be read or holds no certificate.
    """
    context = ssl.create_default_context(cafile=authority)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.sslsocket_class = _SelfClosing
    return context


def check_let_in(broker: Broker, reason: ReasonCode) -> None:
    """Raises VersionRefusedError or BrokerError where the answer to a CONNECT is a refusal."""
    if reason.value == UNSUPPORTED_VERSION:
        raise VersionRefusedError(str(reason))
    if reason.value in REFUSED_LOGINS:
        who = f"user {broker.user!r}" if broker.user else "a client with no user name"
        raise BrokerError(f"it refuses {who} or the password: {reason}")
    if reason.is_failure:
        raise BrokerError(f"it refuses the connection: {reason}")


def why_unreachable(error: OSError | ValueError) -> str:
    """What kept a connection from being made, in words."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not one to be trusted: {error.verify_message}"
    if isinstance(error, ssl.SSLError):
        return f"no encrypted connection could be made: {error.reason or error}"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
