"""The shop's own signature for Web Push (RFC 8292): a key pair, made once and kept."""

import base64
import logging
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from server.data_folder import keep_secret

log = logging.getLogger(__name__)


class PushKeyError(Exception):
    """The shop's push keys can neither be read nor made; the message names the file and what to do."""


@dataclass(frozen=True)
class VapidKeys:
    """The key that signs, and its public half as a page hands it to a phone: base64url without padding."""

    private: ec.EllipticCurvePrivateKey
    public: str


def vapid_keys(path: Path) -> VapidKeys:
    """Read the shop's push keys, or make them where there are none yet: P-256, PEM, mode 0600.

    Phones subscribe to this very key: with another one they would all have to subscribe anew.

    Raises PushKeyError when the file is there but is no such key, or cannot be read or made.
    """
    try:
        if not path.exists():
            _make(path)
        loose = path.stat().st_mode & 0o077
        if loose:
            log.warning("push keys %s could be read by others; now only by their owner", path)
            path.chmod(0o600)
        text = path.read_bytes()
    except OSError as error:
        raise PushKeyError(f"push keys {path}: {error.strerror or error}") from error
    try:
        key = serialization.load_pem_private_key(text, password=None)
    except (ValueError, TypeError) as error:
        raise PushKeyError(_damaged(path)) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or not isinstance(key.curve, ec.SECP256R1):
        raise PushKeyError(_damaged(path))
    point = key.public_key().public_bytes(
        serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint
    )
    return VapidKeys(key, base64.urlsafe_b64encode(point).rstrip(b"=").decode("ascii"))


def _make(path: Path) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    keep_secret(path, pem)


def _damaged(path: Path) -> str:
    return (
        f"push keys {path}: the file is not a P-256 key in PEM. Put back a copy of it; or take it away, "
        "and every phone has to switch on its notices anew"
    )
