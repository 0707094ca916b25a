"""The shop's own authority and a certificate for this machine, so that a phone may use HTTPS without
a domain.

The authority (RFC 5280, P-256, ten years) is bound by its name constraints to this machine's name, `.local`
names and private addresses: a phone that trusts it trusts it for nothing else, should its key be stolen.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from server.certificate_making import (
    Names,
    fingerprint,
    make_authority,
    named_in,
    names_of,
    outside,
    sign,
)
from server.data_folder import keep_secret

FOLDER = "certificate"
RENEW_DAYS = 30


class CertificateError(Exception):
    """A certificate can neither be read nor made; the message says what and why."""


@dataclass(frozen=True)
class Certificates:
    """Where the files are, what the leaf is for and until when, and what was made just now.

    `left_out` are names of the machine that the authority may not speak for.
    """

    authority: Path
    leaf: Path
    key: Path
    names: Names
    until: datetime
    fingerprint: str
    new_authority: bool
    new_leaf: bool
    left_out: Names


def ensure(
    folder: Path, machine: Names, extra: Names, now: datetime, new_authority: bool = False
) -> Certificates:
    """Make what is not there yet, and renew the leaf where it ends within 30 days or names have changed.

    `extra` are names that were asked for; they are remembered. Raises CertificateError where the authority
    may not speak for one of those, or where files cannot be read or written.
    """
    try:
        return _ensure(folder, machine, extra, now, new_authority)
    except OSError as error:
        raise CertificateError(
            f"certificate {error.filename or folder}: {error.strerror or error}"
        ) from error


def _ensure(folder: Path, machine: Names, extra: Names, now: datetime, new_authority: bool) -> Certificates:
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    root_path, root_key_path = folder / "authority.pem", folder / "authority-key.pem"
    leaf_path, key_path, said = folder / "machine.pem", folder / "machine-key.pem", folder / "names"
    if said.exists():
        extra = extra | names_of(said.read_text(encoding="utf-8").split())
    made_root = new_authority or not root_path.exists() or not root_key_path.exists()
    if made_root:
        root_key, root = make_authority(machine, extra, now)
        keep_secret(root_key_path, _pem(root_key))
        keep_secret(root_path, _pem_of(root))
    else:
        root, root_key = _read(root_path), _read_key(root_key_path)
    if _ends_soon(root, now):
        raise CertificateError(
            f"the shop’s authority ends on {root.not_valid_after_utc:%Y-%m-%d}: make a new one with "
            "`slowcorner certificate --new-authority`, and set up every phone anew"
        )
    strange = outside(root, extra)
    if strange.hosts or strange.addresses:
        raise CertificateError(
            f"the shop’s authority may not speak for {strange}: it is bound to the names it was made with, "
            f".local names and private addresses. `slowcorner certificate --new-authority --name NAME` makes "
            f"one that may, and every phone has to be set up anew"
        )
    left_out = outside(root, machine)
    names = Names(machine.hosts - left_out.hosts, machine.addresses - left_out.addresses) | extra
    leaf = None if made_root or not (leaf_path.exists() and key_path.exists()) else _read(leaf_path)
    made_leaf = (
        leaf is None or named_in(leaf) != names or leaf.not_valid_after_utc - now < timedelta(RENEW_DAYS)
    )
    if leaf is None or made_leaf:
        key = ec.generate_private_key(ec.SECP256R1())
        leaf = sign(root, root_key, key, names, now)
        keep_secret(key_path, _pem(key))
        keep_secret(leaf_path, _pem_of(leaf) + _pem_of(root))
        keep_secret(said, "\n".join(sorted(extra.hosts | extra.addresses)).encode())
    until = leaf.not_valid_after_utc
    return Certificates(
        root_path, leaf_path, key_path, names, until, fingerprint(root), made_root, made_leaf, left_out
    )


def _ends_soon(certificate: x509.Certificate, now: datetime) -> bool:
    return certificate.not_valid_after_utc - now < timedelta(days=RENEW_DAYS)


def _read(path: Path) -> x509.Certificate:
    try:
        return x509.load_pem_x509_certificate(path.read_bytes())
    except ValueError as error:
        raise CertificateError(f"certificate {path}: the file is no certificate in PEM") from error


def _read_key(path: Path) -> ec.EllipticCurvePrivateKey:
    path.chmod(0o600)
    try:
        key = serialization.load_pem_private_key(path.read_bytes(), password=None)
    except (ValueError, TypeError) as error:
        raise CertificateError(f"certificate {path}: the file is no key in PEM") from error
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise CertificateError(f"certificate {path}: the key is not of an elliptic curve")
    return key


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _pem_of(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)
