"""Who may do what: pairing, devices and their roles, tokens, and what strangers are refused."""

import html
import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from server.access import CODE_MS, WRONG_PER_MINUTE, Access, NotPairedError
from server.store import access as access_store
from server.store import dips as dip_store
from server.store.engine import StoreError
from server.web import web_app
from tests.service.fake_shop import NOON, Browser, FakeShop

OURS = {"origin": "http://127.0.0.1:8000"}


class Times:
    """The wall and the pace's seconds, as a test sets them."""

    def __init__(self) -> None:
        self.now, self.seconds = NOON, 0.0


@pytest.fixture
def times() -> Times:
    return Times()


@pytest.fixture
def access(shop: FakeShop, times: Times) -> Access:
    return Access(shop.engine, lambda: times.now, seconds=lambda: times.seconds)


def asked_from(shop: FakeShop, access: Access, client: str = "127.0.0.1", **more: Any) -> Browser:
    browser = Browser(shop)
    app = web_app(shop.parts, access=access, **more)
    transport = httpx.ASGITransport(app, raise_app_exceptions=False, client=(client, 5000))
    browser._client = httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8000")
    return browser


@pytest.fixture
def asked(shop: FakeShop, access: Access) -> Iterator[Browser]:
    with asked_from(shop, access) as browser:
        yield browser


def paired(browser: Browser, access: Access, role: Any = "acts") -> None:
    answer = browser.post("/pair", data={"code": access.new_code(role), "name": "Phone"}, headers=OURS)
    assert answer.status_code == 303, answer.text


def test_until_someone_has_paired_this_machine_is_open_and_no_other(shop: FakeShop, access: Access) -> None:
    with asked_from(shop, access) as here, asked_from(shop, access, "192.168.1.9") as there:
        assert here.get("/api/rack").status_code == 200
        assert "Nobody has paired yet" in here.get("/shop/devices").text
        assert there.get("/api/rack").status_code == 401
        assert here.get("/api/rack", headers={"x-forwarded-for": "192.168.1.9"}).status_code == 401


def test_from_the_first_pairing_on_everyone_needs_one(shop: FakeShop, access: Access) -> None:
    with asked_from(shop, access) as first, asked_from(shop, access) as second:
        paired(first, access)
        assert first.get("/api/rack").status_code == 200
        refused = second.get("/api/rack")
        assert refused.status_code == 401
        assert refused.headers["www-authenticate"].startswith("Bearer")
        sent = second.get("/")
        assert (sent.status_code, sent.headers["location"]) == (303, "/pair")
        for path in ("/pair", "/phone", "/healthz", "/static/shop.css"):
            assert second.get(path).status_code == 200


@pytest.mark.parametrize(
    ("path", "to"),
    [
        ("/T/7", "/T/7"),
        ("/h/A%203%2F1?x=%26", "/h/A%203%2F1?x=%26"),
        ("/trees/7?spot=face", "/trees/7?spot=face"),
    ],
)
def test_a_stranger_is_sent_to_pair_and_then_to_where_it_was_going(
    asked: Browser, access: Access, path: str, to: str
) -> None:
    access.pair(access.new_code("acts"), "Another")
    sent = asked.get(path)
    assert (sent.status_code, sent.headers["location"].partition("?")[0]) == (303, "/pair")
    form = asked.get(sent.headers["location"])
    kept = html.unescape(re.findall('name="to" value="([^"]*)"', form.text)[0])
    assert kept == to
    wrong = asked.post("/pair", data={"code": "WRONG", "to": kept}, headers=OURS)
    assert f'name="to" value="{html.escape(to)}"' in wrong.text  # a wrong code loses nothing
    told = {"code": access.new_code("acts"), "name": "Phone", "to": kept}
    landed = asked.post("/pair", data=told, headers=OURS)
    assert (landed.status_code, landed.headers["location"]) == (303, to)


def test_setting_up_trust_first_keeps_where_one_was_going(asked: Browser, access: Access) -> None:
    access.pair(access.new_code("acts"), "Another")

    def led_to(page: str, words: str) -> str:
        found = re.search(f'href="([^"]*)">{words}', asked.get(page).text)
        assert found is not None, (page, words)
        return html.unescape(found[1])

    trust = led_to(asked.get("/T/7?from=tag").headers["location"], "Set up a phone’s trust first")
    pair = led_to(trust, "Go on to pair this phone")
    form = asked.get(pair)
    assert 'name="to" value="/T/7?from=tag"' in form.text
    assert "Go on to pair" not in asked.get("/phone?to=//evil.example").text
    assert "Go on to pair" not in asked.get("/phone").text


ELSEWHERE = [
    "//evil.example", "///evil.example", "https://evil.example", "HTTPS:evil.example", "evil.example",
    "javascript:alert(1)", "/\\evil.example", "\\\\evil.example", "/\t/evil.example", "\t//evil.example",
    "/\n/evil.example", "/a\r\nLocation: https://evil.example", "/\u2028/evil", " //evil.example", "/\0",
    "/pair", "/pair?to=//evil.example", "/" + "x" * 2000,
]  # fmt: skip


def test_nothing_but_a_path_of_this_service_is_landed_on(asked: Browser, access: Access) -> None:
    for to in ELSEWHERE:
        assert 'name="to" value="/"' in asked.get("/pair", params={"to": to}).text, to
    for to in ("//evil.example", "/\\evil.example"):
        told = {"code": access.new_code("acts"), "name": "Phone", "to": to}
        landed = asked.post("/pair", data=told, headers=OURS)
        assert (landed.status_code, landed.headers["location"]) == (303, "/")


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(asked: Browser, access: Access) -> None:
    answer = asked.post("/pair", data={"code": access.new_code("acts"), "name": "Phone"})
    cookie = answer.headers["set-cookie"]
    for part in ("HttpOnly", "SameSite=lax", "Max-Age=34560000", "Path=/"):
        assert part in cookie
    assert "Secure" not in cookie


def test_behind_a_trusted_proxy_the_cookie_is_for_tls_alone_and_anyone_elses_word_is_not_taken(
    shop: FakeShop, times: Times
) -> None:
    access = Access(shop.engine, lambda: times.now, never_open=True)
    headers = {
        "x-forwarded-proto": "https",
        "x-forwarded-host": "shop.example",
        "x-forwarded-for": "192.168.1.9",
        "origin": "https://shop.example",
    }
    hosts = {"shop.example", "127.0.0.1"}
    more: dict[str, Any] = {"hosts": hosts, "proxies": ("127.0.0.1",)}
    with asked_from(shop, access, **more) as through, asked_from(shop, access, "10.0.0.7", **more) as other:
        assert through.get("/api/rack").status_code == 401
        told = {"code": access.new_code("acts"), "name": "Phone"}
        refused = other.post("/pair", data=told, headers=headers)
        assert refused.status_code == 403
        taken = through.post("/pair", data=told, headers=headers)
        assert taken.status_code == 303
        assert taken.headers["set-cookie"].startswith("__Host-slowcorner=")
        assert "Secure" in taken.headers["set-cookie"]


def test_a_code_is_good_once_and_for_ten_minutes(access: Access, times: Times) -> None:
    code = access.new_code("acts")
    assert re.fullmatch("[A-HJKMNP-Z2-9]{8}", code)
    access.pair(f" {code[:4].lower()}-{code[4:]} ", "Phone")
    with pytest.raises(NotPairedError, match="good once"):
        access.pair(code, "Another")
    late = access.new_code("acts")
    times.now += CODE_MS
    with pytest.raises(NotPairedError):
        access.pair(late, "Phone")


def test_wrong_codes_are_slowed_down_more_and_more(access: Access, times: Times) -> None:
    code = access.new_code("acts")

    def wrong() -> NotPairedError:
        with pytest.raises(NotPairedError) as told:
            access.pair("ABCDEFGH" if code != "ABCDEFGH" else "ABCDEFGJ", "Phone")
        return told.value

    for _ in range(WRONG_PER_MINUTE):
        assert wrong().wait_s == 0
    with pytest.raises(NotPairedError, match="another 60 s"):
        access.pair(code, "Phone")
    times.seconds += 61
    for _ in range(WRONG_PER_MINUTE):
        assert wrong().wait_s == 0
    assert wrong().wait_s == pytest.approx(120)
    times.seconds += 121
    assert access.by_cookie(access.pair(code, "Phone")) is not None


def test_the_page_says_too_many_with_the_wait(asked: Browser) -> None:
    answers = [asked.post("/pair", data={"code": "wrong"}) for _ in range(WRONG_PER_MINUTE + 1)]
    assert [one.status_code for one in answers] == [422] * WRONG_PER_MINUTE + [429]
    assert answers[-1].headers["retry-after"] == "60"


def test_a_device_that_only_looks_changes_nothing(shop: FakeShop, asked: Browser, access: Access) -> None:
    tree = shop.hang("Heron", "A1")
    paired(asked, access, "looks")
    assert asked.get("/").status_code == 200
    for path in (f"/trees/{tree.id}/dips", f"/api/trees/{tree.id}/dips", "/shop/devices/codes"):
        assert asked.post(path, headers=OURS).status_code == 403
    assert asked.get("/shop/devices").status_code == 403
    assert dip_store.all_dips(shop.engine, tree.id) == []


def test_a_paired_browser_must_say_where_a_change_comes_from(
    shop: FakeShop, asked: Browser, access: Access
) -> None:
    tree = shop.hang("Heron", "A1")
    paired(asked, access)
    assert asked.post(f"/trees/{tree.id}/dips").status_code == 403
    assert (
        asked.post(f"/trees/{tree.id}/dips", headers={"origin": "https://127.0.0.1:8000"}).status_code == 403
    )
    assert asked.post(f"/trees/{tree.id}/dips", headers=OURS).status_code == 303


def test_a_revoked_device_is_out_at_once_and_the_door_stays_shut(asked: Browser, access: Access) -> None:
    paired(asked, access)
    device = re.search(r"/shop/devices/(\d+)/revoke", asked.get("/shop/devices").text)
    assert device is not None
    assert asked.post(device.group(0), headers=OURS).status_code == 303
    assert asked.get("/api/rack").status_code == 401


def test_a_forged_or_old_cookie_is_a_strangers(access: Access) -> None:
    cookie = access.pair(access.new_code("acts"), "Phone")
    assert access.by_cookie(cookie) is not None
    assert access.by_cookie(cookie[:-2] + ("AA" if cookie[-2:] != "AA" else "BB")) is None
    assert access.by_cookie("") is None


@pytest.mark.parametrize(
    ("scope", "read", "act", "readings"),
    [("read", 200, 403, 403), ("act", 403, 404, 403), ("readings", 403, 403, 422)],
)
def test_a_token_opens_what_its_scope_says(
    asked: Browser, access: Access, scope: str, read: int, act: int, readings: int
) -> None:
    token = access.new_token("script", [scope])
    headers = {"authorization": f"Bearer {token}"}
    assert asked.get("/api/rack", headers=headers).status_code == read
    assert asked.post("/api/trees/99/dips", headers=headers, json={}).status_code == act
    assert asked.post("/api/readings", headers=headers, content=b"x").status_code == readings
    assert asked.get("/", headers=headers).status_code == 403
    assert access.revoke_tokens_of("script") == 1
    assert asked.get("/api/rack", headers=headers).status_code == 401


def test_a_store_that_fails_lets_nobody_in_and_health_is_told_all_the_same(
    shop: FakeShop, access: Access, asked: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_said: object) -> bool:
        raise StoreError("the database cannot be read")

    monkeypatch.setattr(access_store, "anyone_paired", fails)
    assert asked.get("/api/rack").status_code == 503
    assert asked.get("/").status_code == 503
    assert asked.get("/healthz").status_code == 200


def test_secrets_are_kept_as_hashes(shop: FakeShop, access: Access, tmp_path: Any) -> None:
    code, token = access.new_code("acts"), access.new_token("script", ["read"])
    access.pair(code, "Phone")
    shop.engine.dispose()
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("slowcorner.db*"))
    assert b"script" in kept
    assert code.encode() not in kept
    assert token.encode() not in kept


def test_a_code_is_made_on_the_page_with_the_role_it_gives(asked: Browser) -> None:
    page = asked.post("/shop/devices/codes", data={"role": "looks"}, headers=OURS)
    code = re.search(r"/pair\?code=(\w+)", page.text)
    assert code is not None
    assert "<svg" in page.text
    assert asked.post("/pair", data={"code": code.group(1), "name": "<b>Wall</b>"}).status_code == 303
    assert asked.get("/").status_code == 200
    # It was made for a device that only looks, and that is what this browser is now.
    assert asked.post("/shop/devices/tokens", data={"name": "x"}, headers=OURS).status_code == 403


def test_a_name_is_shown_as_it_was_typed_and_never_as_a_page_s_own(asked: Browser, access: Access) -> None:
    told = {"code": access.new_code("acts"), "name": "<b>Wall</b>"}
    assert asked.post("/pair", data=told, headers=OURS).status_code == 303
    page = asked.get("/shop/devices").text
    assert "&lt;b&gt;Wall&lt;/b&gt;" in page
    assert "<b>Wall</b>" not in page
    token = asked.post("/shop/devices/tokens", data={"name": "script", "scope": "read"}, headers=OURS).text
    found = re.search("slow_[A-Za-z0-9_-]{43}", token)
    assert found is not None
    assert access.by_token(found.group(0)) is not None
    assert found.group(0) not in asked.get("/shop/devices").text
