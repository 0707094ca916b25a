"""How a phone comes to trust this machine, and whether notices can come to it."""

from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from fastapi.responses import Response

from server.api.problems import ProblemError
from server.certificate_making import fingerprint
from server.landing import HOME, PAIRING, landing, on_the_way
from server.pages.contexts import Frame
from server.pages.pair import TRUST, bare_frame

ROOT_PATH = "/phone/root.crt"


@dataclass(frozen=True)
class PhoneTrustPage:
    """The steps. `fingerprint` is "" where this machine has no authority; `check` is this page over HTTPS.

    `pair` is the pairing page, which goes on to where one was going; "" where one was going nowhere.
    """

    frame: Frame
    fingerprint: str
    check: str
    pair: str


def phone_trust_page(authority: Path | None, address: str, to: str = HOME) -> PhoneTrustPage:
    """The page, `address` the service's over HTTPS. It says nothing of the shop, for it is open to all.

    `to` is where one was going when one came here from the pairing page.
    """
    known = fingerprint(_read(authority)) if authority is not None and authority.exists() else ""
    pair = "" if landing(to) == HOME else address + on_the_way(PAIRING, to)
    return PhoneTrustPage(bare_frame("Set up a phone"), known, address + on_the_way(TRUST, to), pair)


def root_answer(authority: Path | None) -> Response:
    """The authority's certificate as phones take it: DER, with its registered type."""
    if authority is None or not authority.exists():
        raise ProblemError(
            404, "this machine has no authority: `slowcorner serve --tls` makes it", "not-known"
        )
    return Response(
        _read(authority).public_bytes(serialization.Encoding.DER),
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="slowcorner-authority.crt"'},
    )


def _read(authority: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(authority.read_bytes())
