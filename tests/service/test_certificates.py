"""The shop's authority and its certificate, tried by OpenSSL's own handshake (through Python's ssl)."""

import asyncio
import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec

from server.certificate_making import Names, names_of, sign
from server.certificates import CertificateError, Certificates, ensure
from server.door import door_app

NOW = datetime.now(UTC).replace(microsecond=0)  # OpenSSL has only the real clock to go by
MACHINE = names_of(["localhost", "bench", "bench.local", "127.0.0.1", "192.168.1.20"])
NONE = Names(frozenset(), frozenset())


def made(folder: Path, machine: Names = MACHINE, extra: Names = NONE, now: datetime = NOW) -> Certificates:
    return ensure(folder, machine, extra, now)


def shakes_hands(authority: Path, leaf: Path, key: Path, name: str) -> None:
    """One TLS handshake in memory; raises ssl.SSLCertVerificationError where the client refuses."""
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(leaf, key)
    client = ssl.create_default_context(cafile=authority)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = (
        client.wrap_bio(to_client, to_server, server_hostname=name),
        server.wrap_bio(to_server, to_client, server_side=True),
    )
    done = set()
    for _ in range(10):
        for end in ends:
            try:
                end.do_handshake()
                done.add(end)
            except ssl.SSLWantReadError:
                continue
        if len(done) == 2:
            return
    raise AssertionError("no end of the handshake")


@pytest.mark.parametrize("name", ["bench.local", "bench", "localhost", "192.168.1.20"])
def test_who_trusts_the_authority_trusts_the_machine_by_each_of_its_names(tmp_path: Path, name: str) -> None:
    one = made(tmp_path)
    shakes_hands(one.authority, one.leaf, one.key, name)


def test_who_does_not_trust_it_refuses(tmp_path: Path) -> None:
    one, other = made(tmp_path / "one"), made(tmp_path / "other")
    with pytest.raises(ssl.SSLCertVerificationError):
        shakes_hands(other.authority, one.leaf, one.key, "bench.local")


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8"])
def test_a_stolen_authority_speaks_for_nothing_else(tmp_path: Path, name: str) -> None:
    one = made(tmp_path)
    root = x509.load_pem_x509_certificate(one.authority.read_bytes())
    root_key = serialization.load_pem_private_key((tmp_path / "authority-key.pem").read_bytes(), None)
    key = serialization.load_pem_private_key(one.key.read_bytes(), None)
    assert isinstance(root_key, ec.EllipticCurvePrivateKey)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    forged = tmp_path / "forged.pem"
    leaf = sign(root, root_key, key, names_of([name]), NOW)
    forged.write_bytes(leaf.public_bytes(serialization.Encoding.PEM))
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shakes_hands(one.authority, forged, one.key, name)


def test_keys_are_their_owners_alone(tmp_path: Path) -> None:
    one = made(tmp_path)
    for key in (one.key, tmp_path / "authority-key.pem"):
        assert stat.S_IMODE(key.stat().st_mode) == 0o600


def test_it_is_renewed_when_it_ends_soon_or_names_change_and_the_authority_stays(tmp_path: Path) -> None:
    first = made(tmp_path)
    assert (first.new_authority, first.new_leaf) == (True, True)
    assert not made(tmp_path, now=NOW + timedelta(days=334)).new_leaf
    later = made(tmp_path, now=NOW + timedelta(days=336))
    assert (later.new_authority, later.new_leaf) == (False, True)
    assert later.fingerprint == first.fingerprint
    moved = made(tmp_path, MACHINE | names_of(["10.0.0.5"]), now=NOW + timedelta(days=336))
    assert moved.new_leaf
    assert "10.0.0.5" in moved.names.addresses


def test_names_that_were_asked_for_are_remembered(tmp_path: Path) -> None:
    made(tmp_path, extra=names_of(["shop.local"]))
    again = made(tmp_path)
    assert "shop.local" in again.names.hosts
    assert not again.new_leaf


def test_a_name_it_may_not_speak_for_is_refused_or_left_out(tmp_path: Path) -> None:
    made(tmp_path)
    with pytest.raises(CertificateError, match=r"may not speak for bank\.example"):
        made(tmp_path, extra=names_of(["bank.example"]))
    found = made(tmp_path, MACHINE | names_of(["203.0.113.9"]))
    assert found.left_out == names_of(["203.0.113.9"])


def test_an_authority_that_ends_says_what_to_do(tmp_path: Path) -> None:
    made(tmp_path)
    with pytest.raises(CertificateError, match="new-authority"):
        made(tmp_path, now=NOW + timedelta(days=3640))


def test_a_file_that_is_no_certificate_is_named(tmp_path: Path) -> None:
    one = made(tmp_path)
    one.authority.write_text("nothing")
    with pytest.raises(CertificateError, match=r"authority\.pem"):
        made(tmp_path)


def test_the_plain_port_hands_out_the_authority_and_sends_the_rest_on(tmp_path: Path) -> None:
    one = made(tmp_path)

    async def ask() -> None:
        transport = httpx.ASGITransport(door_app(one.authority, {"bench.local"}, 8443))
        async with httpx.AsyncClient(transport=transport, base_url="http://bench.local:8000") as asked:
            root = await asked.get("/phone/root.crt")
            assert root.headers["content-type"] == "application/x-x509-ca-cert"
            subject = x509.load_der_x509_certificate(root.content).subject.rfc4514_string()
            assert subject.startswith("CN=Slowcorner")
            page = await asked.get("/phone")
            assert one.fingerprint in page.text
            assert "https://bench.local:8443/phone" in page.text
            sent = await asked.get("/trees/1")
            assert (sent.status_code, sent.headers["location"]) == (307, "https://bench.local:8443/trees/1")
            asked_for = await asked.get("/T/7?from=tag")
            assert asked_for.headers["location"] == "https://bench.local:8443/T/7?from=tag"
            assert "https://bench.local:8443/pair?to=%2FT%2F7" in (await asked.get("/phone?to=/T/7")).text
            assert (await asked.get("/phone", headers={"host": "evil.example"})).status_code == 421

    asyncio.run(ask())
