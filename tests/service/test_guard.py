"""What keeps strangers out: host names, origins, sizes, and the headers that every answer bears."""

import re
from collections.abc import AsyncIterator

import pytest

from server.guard import LARGEST_BODY
from server.store import dips as dip_store
from tests.service.fake_shop import Browser, FakeShop


def test_the_files_that_pages_name_are_there(web: Browser) -> None:
    named = set(re.findall(r'(?:src|href)="(/static/[^"]+)"', web.get("/").text))
    assert named >= {"/static/shop.css", "/static/shop.js", "/static/icon.svg", "/static/icon-192.png"}
    for path in named:
        assert web.get(path).status_code == 200


def test_answers_bear_the_headers_that_keep_strangers_out(web: Browser) -> None:
    for path in ("/", "/api/rack", "/static/shop.css", "/nothing"):
        headers = web.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe-inline" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8000", "127.0.0.1.evil.example", "127.0.0.2"])
def test_a_strange_name_for_this_machine_is_not_answered(web: Browser, host: str) -> None:
    for path in ("/", "/api/rack"):
        assert web.get(path, headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8000", "127.0.0.1", "[::1]:8000"])
def test_loopback_names_are_answered(web: Browser, host: str) -> None:
    assert web.get("/healthz", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_form_from_another_site_changes_nothing(
    shop: FakeShop, web: Browser, headers: dict[str, str]
) -> None:
    tree = shop.hang("Heron", "A1")
    for path in (f"/trees/{tree.id}/dips", f"/api/trees/{tree.id}/dips"):
        assert web.post(path, headers=headers).status_code == 403
    assert dip_store.all_dips(shop.engine, tree.id) == []


def test_a_form_from_our_own_page_is_taken(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    ours = {"origin": "http://127.0.0.1:8000", "sec-fetch-site": "same-origin"}
    assert web.post(f"/trees/{tree.id}/dips", headers=ours).status_code == 303


def test_a_body_that_is_too_large_is_refused(web: Browser) -> None:
    answer = web.post("/trees", content=b"x" * (LARGEST_BODY + 1))
    assert answer.status_code == 413
    assert str(LARGEST_BODY) in answer.json()["detail"]

    async def without_a_length() -> AsyncIterator[bytes]:
        for _ in range(LARGEST_BODY // 1000 + 2):
            yield b"x" * 1000

    for path, kind in (("/trees", "application/x-www-form-urlencoded"), ("/api/trees", "application/json")):
        answer = web.post(path, content=without_a_length(), headers={"content-type": kind})
        assert answer.status_code == 413
