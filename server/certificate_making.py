"""Certificates as values: the authority, what it signs, and whom it may speak for.
Nothing is read or written."""

import socket
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_DAYS = 3653
LEAF_DAYS = 365
EARLY = timedelta(days=1)
"""A certificate holds from a day before it was made: clocks of phones and small boards are off."""

PRIVATE = tuple(
    ip_network(text)
    for text in (
        "10.0.0.0/8",  # RFC 1918
        "172.16.0.0/12",
        "192.168.0.0/16",
        "127.0.0.0/8",  # RFC 1122
        "169.254.0.0/16",  # RFC 3927
        "fc00::/7",  # RFC 4193
        "fe80::/10",  # RFC 4291
        "::1/128",
    )
)
"""The addresses that the authority may speak for."""


@dataclass(frozen=True)
class Names:
    """What the machine is called: host names in small letters, and addresses in figures."""

    hosts: frozenset[str]
    addresses: frozenset[str]

    def __or__(self, other: "Names") -> "Names":
        """The names of both."""
        return Names(self.hosts | other.hosts, self.addresses | other.addresses)

    def __str__(self) -> str:
        """All of them, in order."""
        return ", ".join((*sorted(self.hosts), *sorted(self.addresses)))


def machine_names() -> Names:
    """What this machine is called, as far as it knows; nothing is sent to find out."""
    name = socket.gethostname().lower()
    hosts = {"localhost", name.partition(".")[0] + ".local", name}
    addresses = {"127.0.0.1", "::1"}
    for family, elsewhere in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        # Addresses for documentation (RFC 5737, 3849): connecting a datagram socket only picks a way out.
        try:
            with socket.socket(family, socket.SOCK_DGRAM) as way:
                way.connect((elsewhere, 9))
                addresses.add(way.getsockname()[0].partition("%")[0])
        except OSError:
            continue
    return Names(frozenset(hosts), frozenset(addresses))


def names_of(texts: Iterable[str]) -> Names:
    """Names as a person typed them, sorted into host names and addresses.

    >>> print(names_of(["Shop.local", "192.168.1.5"]))
    shop.local, 192.168.1.5
    """
    hosts, addresses = set(), set()
    for text in texts:
        try:
            addresses.add(str(ip_address(text.strip("[]"))))
        except ValueError:
            hosts.add(text.lower().rstrip("."))
    return Names(frozenset(hosts), frozenset(addresses))


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 in pairs of figures, as phones show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def make_authority(
    machine: Names, extra: Names, now: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    """An authority's key and its own certificate, bound to these names, `.local` and private addresses."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"Slowcorner authority {now:%Y-%m-%d}")])
    permitted: list[x509.GeneralName] = [
        x509.DNSName(host) for host in sorted({"local", *machine.hosts, *extra.hosts})
    ]
    permitted += [x509.IPAddress(network) for network in (*PRIVATE, *_single(extra.addresses))]
    made = (
        _begun(name, name, key.public_key(), now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return key, made


def sign(
    root: x509.Certificate,
    root_key: ec.EllipticCurvePrivateKey,
    key: ec.EllipticCurvePrivateKey,
    names: Names,
    now: datetime,
) -> x509.Certificate:
    """A certificate for a server of these names, a year long, but no longer than the authority's own."""
    name = x509.Name([x509.NameAttribute(NameOID.ORGANIZATION_NAME, "Slowcorner")])
    days = min(LEAF_DAYS, (root.not_valid_after_utc - now).days)
    every: list[x509.GeneralName] = [x509.DNSName(host) for host in sorted(names.hosts)]
    every += [x509.IPAddress(ip_address(address)) for address in sorted(names.addresses)]
    return (
        _begun(name, root.subject, key.public_key(), now, days)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(every), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()), critical=False
        )
        .sign(root_key, hashes.SHA256())
    )


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, days: int
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - EARLY)
        .not_valid_after(now + timedelta(days=days))
    )


def _usage(certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not certificates,
        key_cert_sign=certificates,
        crl_sign=certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _single(addresses: Collection[str]) -> list[IPv4Network | IPv6Network]:
    outside = [address for address in sorted(addresses) if not _private(address)]
    return [ip_network(address) for address in outside]


def _private(address: str) -> bool:
    return any(ip_address(address) in network for network in PRIVATE)


def outside(root: x509.Certificate, names: Names) -> Names:
    """Those of the names that the authority may not speak for."""
    bound = root.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or ()
    hosts = [one.value for one in bound if isinstance(one, x509.DNSName)]
    networks = [one.value for one in bound if isinstance(one, x509.IPAddress)]
    return Names(
        frozenset(
            name for name in names.hosts if not any(name == one or name.endswith("." + one) for one in hosts)
        ),
        frozenset(
            one
            for one in names.addresses
            if not any(
                isinstance(network, IPv4Network | IPv6Network) and ip_address(one) in network
                for network in networks
            )
        ),
    )


def named_in(leaf: x509.Certificate) -> Names:
    """The names that a certificate is for."""
    every = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return Names(
        frozenset(every.get_values_for_type(x509.DNSName)),
        frozenset(str(address) for address in every.get_values_for_type(x509.IPAddress)),
    )
