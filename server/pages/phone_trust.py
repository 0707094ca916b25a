"""How a phone comes to trust this machine, and whether notices can come to it."""

from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import serialization
from fastapi.responses import Response

from server.api.problems import ProblemError
from server.certificate_making import fingerprint
from server.pages.contexts import Frame
from server.pages.pair import bare_frame

ROOT_PATH = "/phone/root.crt"


@dataclass(frozen=True)
class PhoneTrustPage:
    """The steps. `fingerprint` is "" where this machine has no authority; `address` is that of HTTPS."""

    frame: Frame
    fingerprint: str
    address: str


def phone_trust_page(authority: Path | None, address: str) -> PhoneTrustPage:
    """The page. It says nothing of the shop, for it is open to all."""
    known = fingerprint(_read(authority)) if authority is not None and authority.exists() else ""
    return PhoneTrustPage(bare_frame("Set up a phone"), known, address)


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
