"""A throw-away authority and a certificate of its own for 127.0.0.1, as files."""

import datetime
import ipaddress
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


@dataclass(frozen=True)
class Certificates:
    """Files in PEM: the authority's certificate, and one that it signed, with its key."""

    authority: Path
    certificate: Path
    key: Path


def throw_away(folder: Path, name: str = "Throw-away authority") -> Certificates:
    """Make an authority and let it sign a certificate for 127.0.0.1, both for a day."""
    folder.mkdir(parents=True, exist_ok=True)
    authority_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.datetime.now(datetime.UTC)

    def begun(of: x509.Name, public: ec.EllipticCurvePublicKey) -> x509.CertificateBuilder:
        return (
            x509.CertificateBuilder()
            .subject_name(of)
            .issuer_name(subject)
            .public_key(public)
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(hours=1))
            .not_valid_after(now + datetime.timedelta(days=1))
        )

    root = (
        begun(subject, authority_key.public_key())
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(authority_key, hashes.SHA256())
    )
    address = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))])
    leaf = (
        begun(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "broker")]), key.public_key())
        .add_extension(address, critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    made = Certificates(folder / "authority.pem", folder / "broker.pem", folder / "broker.key")
    made.authority.write_bytes(root.public_bytes(serialization.Encoding.PEM))
    made.certificate.write_bytes(leaf.public_bytes(serialization.Encoding.PEM))
    made.key.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return made
