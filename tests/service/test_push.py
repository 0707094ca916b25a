"""Web Push end to end against a push service of our own, which checks the RFCs and decrypts."""

import asyncio
import json
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import given
from hypothesis import strategies as st

from server.phone.sending import Outcome
from server.phone.vapid import VapidKeys, vapid_keys
from server.phone.web_push import PAYLOAD_BYTES, WebPush, encode_payload, topic_of
from server.store.values import Subscription
from tests.service.push_service import (
    RECORD_BYTES,
    Phone,
    PushService,
    decrypt,
    from_base64url,
    running_push_service,
)

WORDS = {
    "title": "Heron: fit to dip",
    "body": "Coat 5 of 10 (backup) may go on. Slowest was the vent joint, 30°.",
}
DAY_S = 24 * 3600


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> VapidKeys:
    return vapid_keys(tmp_path_factory.mktemp("data") / "push_key.pem")


@pytest.fixture
def service(keys: VapidKeys) -> Iterator[PushService]:
    with running_push_service() as service:
        service.application_key = keys.public
        yield service


def subscription(phone: Phone) -> Subscription:
    return Subscription(1, phone.endpoint, phone.p256dh, phone.auth)


def send(
    keys: VapidKeys,
    to: Subscription,
    payload: dict[str, str | int | None] | None = None,
    timeout_s: float = 10.0,
) -> Outcome:
    sender = WebPush(keys, timeout_s=timeout_s)
    said: dict[str, str | int | None] = {**WORDS} if payload is None else payload
    return asyncio.run(sender.send(to, said, DAY_S, "high", topic_of("fit:1:4:0")))


def test_the_push_service_of_the_tests_decrypts_the_example_of_the_rfc() -> None:
    """RFC 8291 section 5, from memory: one wrong character and the tag of AES-GCM would not hold."""
    body = from_base64url(
        "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27ml"
        "mlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPT"
        "pK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
    )
    private = ec.derive_private_key(
        int.from_bytes(from_base64url("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94"), "big"), ec.SECP256R1()
    )
    text = decrypt(body, private, from_base64url("BTBZMqHH6r4Tts7J_aSIgg"))
    assert text == b"When I grow up, I want to be a watermelon"


def test_the_phone_reads_the_very_words(keys: VapidKeys, service: PushService) -> None:
    assert send(keys, subscription(service.new_phone())) == Outcome("sent")
    (push,) = service.pushes
    assert service.faults == []
    assert push.payload == WORDS
    assert (push.ttl_s, push.urgency, push.topic) == (DAY_S, "high", topic_of("fit:1:4:0"))
    assert push.claims["sub"] == "mailto:nobody@slowcorner.invalid"
    assert push.claims["aud"] == service.origin
    # RFC 8292 section 2: no later than 24 h from now; the library's 12 h leave room for clocks that differ
    assert 0 < push.claims["exp"] - time.time() <= DAY_S / 2


def test_each_push_service_is_signed_to_by_its_own_name(keys: VapidKeys, service: PushService) -> None:
    """The signing library writes into the claims it is given: shared ones would keep the first name."""
    sender = WebPush(keys, contact="https://shop.example/contact")

    async def both(phones: list[Phone]) -> list[Outcome]:
        return [await sender.send(subscription(phone), WORDS, 60, "normal", "same") for phone in phones]

    with running_push_service() as other:
        phones = [service.new_phone(), other.new_phone(), service.new_phone()]
        assert asyncio.run(both(phones)) == [Outcome("sent")] * 3
        assert service.faults == other.faults == []
        assert [push.claims["aud"] for push in service.pushes + other.pushes] == [
            service.origin,
            service.origin,
            other.origin,
        ]
        assert other.pushes[0].claims["sub"] == "https://shop.example/contact"


def test_a_netrc_does_not_take_the_place_of_the_signature(
    keys: VapidKeys, service: PushService, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    netrc = tmp_path / "netrc"
    netrc.write_text("machine 127.0.0.1 login shop password hush\ndefault login shop password hush\n")
    netrc.chmod(0o600)
    monkeypatch.setenv("NETRC", str(netrc))
    assert send(keys, subscription(service.new_phone())) == Outcome("sent")
    assert service.faults == []


def test_another_key_is_refused_by_the_push_service(
    keys: VapidKeys, service: PushService, tmp_path: Path
) -> None:
    """A check of the checker: it does look at who signed."""
    stranger = vapid_keys(tmp_path / "other.pem")
    outcome = send(stranger, subscription(service.new_phone()))
    assert outcome.kind == "later"
    assert service.faults == ["signed with another key than the phone subscribed to"]
    assert service.pushes == []


def test_keys_of_another_phone_do_not_decrypt(keys: VapidKeys, service: PushService) -> None:
    """A check of the checker: it does decrypt."""
    one, other = service.new_phone(), service.new_phone()
    mixed = Subscription(1, one.endpoint, other.p256dh, other.auth)
    assert send(keys, mixed).kind == "refused"
    assert service.faults == ["the body does not decrypt with this phone's keys"]


@pytest.mark.parametrize(
    ("status", "headers", "kind", "retry_after_s"),
    [
        (200, {}, "sent", None),
        (201, {}, "sent", None),
        (202, {}, "sent", None),
        (204, {}, "sent", None),
        (404, {}, "gone", None),
        (410, {}, "gone", None),
        (429, {"Retry-After": "90"}, "later", 90.0),
        (429, {}, "later", None),
        (500, {}, "later", None),
        (503, {"Retry-After": "3600"}, "later", 3600.0),
        (401, {}, "later", None),
        (403, {}, "later", None),
        (400, {}, "refused", None),
        (413, {}, "refused", None),
        (302, {"Location": "/push/1"}, "refused", None),
        (307, {"Location": "/push/1"}, "refused", None),
    ],
)
def test_what_the_answers_mean(
    keys: VapidKeys,
    service: PushService,
    status: int,
    headers: dict[str, str],
    kind: str,
    retry_after_s: float | None,
) -> None:
    """RFC 8030 sections 5, 7.3 and 8.4; that 401 and 403 are tried again is this project's own choice."""
    service.answers.append((status, headers))
    outcome = send(keys, subscription(service.new_phone()))
    assert (outcome.kind, outcome.retry_after_s) == (kind, retry_after_s)
    assert len(service.pushes) == 1
    if kind != "sent" and status >= 400:
        assert str(status) in outcome.detail


def test_nobody_listening_means_later(keys: VapidKeys, service: PushService) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound but not listening: a connection is refused
        phone = service.new_phone()
        endpoint = f"http://127.0.0.1:{taken.getsockname()[1]}/push/1"
        outcome = send(keys, Subscription(1, endpoint, phone.p256dh, phone.auth))
    assert outcome.kind == "later"
    assert "could not be reached" in outcome.detail


def test_no_answer_in_time_means_later(keys: VapidKeys, service: PushService) -> None:
    service.silent.set()
    began = time.monotonic()
    outcome = send(keys, subscription(service.new_phone()), timeout_s=0.2)
    assert outcome == Outcome("later", "the push service did not answer within 0.2 s")
    assert time.monotonic() - began < 5.0


def test_the_event_loop_goes_on_while_a_push_service_is_silent(keys: VapidKeys, service: PushService) -> None:
    service.silent.set()

    async def scene() -> Outcome:
        sending = asyncio.create_task(
            WebPush(keys).send(subscription(service.new_phone()), WORDS, 60, "normal", "t")
        )
        assert await asyncio.to_thread(service.taken.wait, 5.0)
        assert not sending.done()
        service.speak.set()
        return await sending

    assert asyncio.run(asyncio.wait_for(scene(), 10.0)) == Outcome("sent")


def test_the_longest_payload_fills_the_record_and_a_longer_one_is_cut(
    keys: VapidKeys, service: PushService
) -> None:
    """3993 octets of text make 4096 (RFC 8291 section 4): computed."""
    frame = len(encode_payload({"title": "t", "body": ""}))
    whole = "x" * (PAYLOAD_BYTES - frame)
    phone = subscription(service.new_phone())
    assert send(keys, phone, {"title": "t", "body": whole}) == Outcome("sent")
    assert send(keys, phone, {"title": "t", "body": whole + "y"}) == Outcome("sent")
    full, cut = service.pushes
    assert service.faults == []
    assert (full.body_bytes, full.payload["body"]) == (RECORD_BYTES, whole)
    assert cut.payload["body"].endswith("x … (the rest is on the page)")
    assert cut.body_bytes <= RECORD_BYTES


def test_a_payload_that_cannot_be_cut_to_size_is_refused_not_sent(
    keys: VapidKeys, service: PushService
) -> None:
    outcome = send(keys, subscription(service.new_phone()), {"title": "t" * 5000, "body": "b"})
    assert outcome.kind == "refused"
    assert "does not fit into 3993" in outcome.detail
    assert service.pushes == []


@given(st.text(max_size=400), st.text(max_size=40), st.integers(150, 600))
def test_a_payload_never_exceeds_its_limit_and_only_the_body_is_cut(
    body: str, title: str, limit: int
) -> None:
    if (
        len(json.dumps({"title": title, "body": ""}, ensure_ascii=False).encode("utf-8", "replace"))
        > limit - 50
    ):
        return
    written = encode_payload({"title": title, "body": body}, limit)
    assert len(written) <= limit
    read = json.loads(written)
    if read["body"] != body:
        assert len(encode_payload({"title": title, "body": body}, 10_000)) > limit
        kept = read["body"].removesuffix(" … (the rest is on the page)")
        assert kept != read["body"]
        assert body.startswith(kept)


@pytest.mark.parametrize("ttl_s", [0, -1])
def test_a_ttl_of_nothing_is_not_sent(keys: VapidKeys, service: PushService, ttl_s: int) -> None:
    with pytest.raises(ValueError, match="would lose the notice"):
        asyncio.run(WebPush(keys).send(subscription(service.new_phone()), WORDS, ttl_s, "normal", "t"))


def test_topics_fit_the_rfc() -> None:
    for key in ("", "fit:1:4:1772431200000", "ü" * 300):
        assert len(topic_of(key)) == 32
        assert topic_of(key) == topic_of(key)
    assert topic_of("fit:1:4:0") != topic_of("fit:1:4:1")
