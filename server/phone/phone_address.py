"""Whether a phone can be reached by what it said when it subscribed."""

import base64
import binascii
import ipaddress
import re
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.asymmetric import ec


def check_subscription(endpoint: str, p256dh: str, auth: str) -> None:
    """Raise ValueError, with the reason, unless a phone can be reached by this subscription.

    The endpoint is `https:` (or `http:` on this very machine, for trials), names no user, and is at most 2048
    characters; `p256dh` is a point of the curve P-256, uncompressed, and `auth` 16 octets, both in base64url.
    """
    _check_endpoint(endpoint)
    point = _base64url("p256dh", p256dh)
    try:
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), point)
    except ValueError:
        raise ValueError("key p256dh is not a point of the curve P-256") from None
    if len(point) != 65:
        raise ValueError(f"key p256dh has {len(point)} octets, not 65: it must be uncompressed")
    secret = _base64url("auth", auth)
    if len(secret) != 16:
        raise ValueError(f"key auth has {len(secret)} octets, not 16")


def _check_endpoint(endpoint: str) -> None:
    if len(endpoint) > 2048:
        raise ValueError(f"endpoint has {len(endpoint)} characters, more than 2048")
    try:
        parts = urlsplit(endpoint)
        host, _ = parts.hostname, parts.port
    except ValueError as error:
        raise ValueError(f"endpoint {endpoint!r} is no address: {error}") from None
    if not host or parts.username is not None or not endpoint.isascii() or re.search(r"\s", endpoint):
        raise ValueError(f"endpoint {endpoint!r} is no address of a push service")
    if parts.scheme != "https" and not (parts.scheme == "http" and _is_loopback(host)):
        raise ValueError(f"endpoint {endpoint!r} is not https")


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _base64url(name: str, text: str) -> bytes:
    try:
        return base64.b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4), b"-_", validate=True)
    except (binascii.Error, ValueError):
        raise ValueError(f"key {name} is not base64url") from None
