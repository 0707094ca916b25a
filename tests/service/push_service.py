"""A push service on this machine: checks what RFC 8030, 8291 and 8292 ask of a sender, and decrypts.

It is written from the RFCs with `cryptography` alone, so that it shares no code with what sends.
"""

import base64
import json
import re
import struct
import threading
import time
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from cryptography.exceptions import InvalidSignature, InvalidTag
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

RECORD_BYTES = 4096
LONGEST_EXP_S = 24 * 3600


def to_base64url(octets: bytes) -> str:
    return base64.urlsafe_b64encode(octets).rstrip(b"=").decode("ascii")


def from_base64url(text: str) -> bytes:
    return base64.b64decode(text + "=" * (-len(text) % 4), b"-_", validate=True)


def point_of(key: ec.EllipticCurvePublicKey) -> bytes:
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def curve_point(octets: bytes) -> ec.EllipticCurvePublicKey:
    return ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), octets)


class Unacceptable(Exception):  # noqa: N818 -- it is an answer, with its status
    """The request breaks a rule of the RFCs."""

    def __init__(self, status: int, reason: str) -> None:
        super().__init__(reason)
        self.status = status


@dataclass
class Phone:
    """The browser's half: its keys, and its address at the push service."""

    endpoint: str
    private: ec.EllipticCurvePrivateKey
    auth_secret: bytes

    @property
    def p256dh(self) -> str:
        return to_base64url(point_of(self.private.public_key()))

    @property
    def auth(self) -> str:
        return to_base64url(self.auth_secret)


@dataclass(frozen=True)
class Push:
    """A message that was found right: what it says, and the headers it came with."""

    path: str
    text: str
    ttl_s: int
    urgency: str
    topic: str | None
    claims: Mapping[str, Any]
    body_bytes: int

    @property
    def payload(self) -> dict[str, Any]:
        said: dict[str, Any] = json.loads(self.text)
        return said


def decrypt(body: bytes, private: ec.EllipticCurvePrivateKey, auth_secret: bytes) -> bytes:
    """One record of `aes128gcm` (RFC 8188) with the keys of RFC 8291 section 3.4."""
    salt, (record_size, id_length) = body[:16], struct.unpack("!LB", body[16:21])
    sender_point, sealed = body[21 : 21 + id_length], body[21 + id_length :]
    if len(sealed) > record_size:
        raise Unacceptable(400, f"a record of {len(sealed)} octets is longer than the {record_size} it said")
    shared = private.exchange(ec.ECDH(), curve_point(sender_point))
    info = b"WebPush: info\0" + point_of(private.public_key()) + sender_point
    secret = HKDF(hashes.SHA256(), 32, auth_secret, info).derive(shared)
    key = HKDF(hashes.SHA256(), 16, salt, b"Content-Encoding: aes128gcm\0").derive(secret)
    nonce = HKDF(hashes.SHA256(), 12, salt, b"Content-Encoding: nonce\0").derive(secret)
    try:
        padded = AESGCM(key).decrypt(nonce, sealed, None)
    except InvalidTag:
        raise Unacceptable(400, "the body does not decrypt with this phone's keys") from None
    unpadded = padded.rstrip(b"\0")
    text, delimiter = unpadded[:-1], unpadded[-1:]
    if delimiter != b"\x02":
        raise Unacceptable(400, f"the last record ends with {delimiter!r}, not 0x02")
    return text


def check_vapid(header: str, origin: str, application_key: str | None, now_s: float) -> dict[str, Any]:
    """RFC 8292: the `vapid` scheme's `t` and `k`, the signature, and the claims `aud`, `exp`, `sub`."""
    scheme, _, rest = header.partition(" ")
    if scheme.lower() != "vapid":
        raise Unacceptable(401, f"Authorization is {header!r}, not vapid")
    fields = dict(part.strip().split("=", 1) for part in rest.split(","))
    if set(fields) != {"t", "k"}:
        raise Unacceptable(401, f"vapid has the parameters {sorted(fields)}, not k and t")
    if application_key is not None and fields["k"] != application_key:
        raise Unacceptable(403, "signed with another key than the phone subscribed to")
    head, claims_text, signature_text = fields["t"].split(".")
    if json.loads(from_base64url(head)).get("alg") != "ES256":
        raise Unacceptable(401, "the token is not signed with ES256")
    signature = from_base64url(signature_text)
    if len(signature) != 64:
        raise Unacceptable(401, f"the signature has {len(signature)} octets, not 64")
    r, s = int.from_bytes(signature[:32], "big"), int.from_bytes(signature[32:], "big")
    try:
        curve_point(from_base64url(fields["k"])).verify(
            encode_dss_signature(r, s), f"{head}.{claims_text}".encode(), ec.ECDSA(hashes.SHA256())
        )
    except InvalidSignature:
        raise Unacceptable(403, "the signature does not hold") from None
    claims: dict[str, Any] = json.loads(from_base64url(claims_text))
    if claims.get("aud") != origin:
        raise Unacceptable(403, f"aud is {claims.get('aud')!r}, not {origin!r}")
    if not now_s < claims.get("exp", 0) <= now_s + LONGEST_EXP_S:
        raise Unacceptable(403, f"exp {claims.get('exp')} is not within 24 h from {now_s:.0f}")
    if "sub" in claims and not re.match(r"mailto:|https:", claims["sub"]):
        raise Unacceptable(403, f"sub is {claims['sub']!r}, neither mailto: nor https:")
    return claims


@dataclass
class PushService:
    """Takes pushes for its phones. `answers` are given in turn to requests that were right; then 201."""

    origin: str = ""
    application_key: str | None = None
    phones: dict[str, Phone] = field(default_factory=dict)
    pushes: list[Push] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    answers: deque[tuple[int, dict[str, str]]] = field(default_factory=deque)
    silent: threading.Event = field(default_factory=threading.Event)
    """While it is set, requests are taken and not answered."""

    speak: threading.Event = field(default_factory=threading.Event)
    taken: threading.Event = field(default_factory=threading.Event)

    def new_phone(self) -> Phone:
        path = f"/push/{len(self.phones) + 1}"
        phone = Phone(self.origin + path, ec.generate_private_key(ec.SECP256R1()), b"sixteen octets..")
        self.phones[path] = phone
        return phone

    def take(self, path: str, headers: Message, body: bytes) -> tuple[int, dict[str, str]]:
        try:
            self.pushes.append(self._checked(path, headers, body))
        except Unacceptable as fault:
            self.faults.append(str(fault))
            return fault.status, {}
        self.taken.set()
        if self.silent.is_set():
            self.speak.wait()
        return self.answers.popleft() if self.answers else (201, {"Location": f"{self.origin}/message/1"})

    def _checked(self, path: str, headers: Message, body: bytes) -> Push:
        phone = self.phones.get(path)
        if phone is None:
            raise Unacceptable(404, f"no phone at {path}")
        claims = check_vapid(headers.get("Authorization", ""), self.origin, self.application_key, time.time())
        ttl = headers.get("TTL", "")
        if not ttl.isdigit():
            raise Unacceptable(400, f"TTL is {ttl!r}")
        urgency = headers.get("Urgency", "normal")
        if urgency not in ("very-low", "low", "normal", "high"):
            raise Unacceptable(400, f"Urgency is {urgency!r}")
        topic = headers.get("Topic")
        if topic is not None and not re.fullmatch(r"[A-Za-z0-9_-]{1,32}", topic):
            raise Unacceptable(400, f"Topic is {topic!r}")
        if headers.get("Content-Encoding") != "aes128gcm":
            raise Unacceptable(415, f"Content-Encoding is {headers.get('Content-Encoding')!r}")
        if len(body) > RECORD_BYTES:
            raise Unacceptable(413, f"a body of {len(body)} octets is more than {RECORD_BYTES}")
        text = decrypt(body, phone.private, phone.auth_secret).decode("utf-8")
        return Push(path, text, int(ttl), urgency, topic, claims, len(body))


@contextmanager
def running_push_service(service: PushService | None = None) -> Iterator[PushService]:
    """A push service, or this one, on a port of the system's choosing, for as long as the block lasts."""
    taking = service or PushService()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
            status, headers = taking.take(self.path, self.headers, body)
            try:
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", "0")
                self.end_headers()
            except OSError:
                pass  # the sender did not wait

        def log_message(self, format: str, *args: Any) -> None:
            """Tests read `faults`, not a log."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    taking.origin = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(
        target=server.serve_forever, kwargs={"poll_interval": 0.01}, name="push service"
    )
    thread.start()
    try:
        yield taking
    finally:
        taking.speak.set()
        server.shutdown()
        thread.join()
        server.server_close()
