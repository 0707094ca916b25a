"""HTTPS as a phone meets it: Chromium trusts the shop's own authority, and no name that is not the shop's."""

import os
import re
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
import uvicorn
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from playwright.sync_api import Browser, BrowserContext, Error, Page, expect, sync_playwright
from starlette.types import ASGIApp
from typer.testing import CliRunner

from server.access import Access
from server.certificate_making import names_of, sign
from server.cli import app as command
from server.store import trees as tree_store
from server.store.engine import open_store
from server.web import web_app
from tests.browser.conftest import ARGUMENTS, _Server
from tests.service.fake_shop import FakeShop, furnished

pytestmark = pytest.mark.browser

NAME, STRANGE = "bench.local", "bank.example"


@dataclass
class Bench:
    """A shop behind HTTPS; `strange` is another name's server, signed by the stolen key of its authority."""

    shop: FakeShop
    access: Access
    authority: Path
    address: str
    strange: str


@contextmanager
def served(app: ASGIApp, leaf: Path, key: Path) -> Iterator[int]:
    """An application on TLS at a port of its own, over loopback."""
    config = uvicorn.Config(
        app,
        host="127.0.0.1",
        port=0,
        log_level="critical",
        lifespan="off",
        ssl_certfile=leaf,
        ssl_keyfile=key,
    )
    server = _Server(config)
    thread = threading.Thread(target=server.run, name="https", daemon=True)
    thread.start()
    assert server.answers.wait(20)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = server.force_exit = True
        thread.join(20)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    folder = tmp_path_factory.mktemp("https")
    made = CliRunner().invoke(command, ["certificate", "--data", str(folder), "--name", NAME])
    assert made.exit_code == 0, made.output
    files = folder / "certificate"
    authority, leaf, key = (files / f"{name}.pem" for name in ("authority", "machine", "machine-key"))
    engine = open_store(f"sqlite:///{folder}/slowcorner.db")
    shop = FakeShop(engine)
    furnished(shop)
    access = Access(engine, shop.parts.wall_clock, never_open=True)
    app = web_app(shop.parts, hosts={NAME}, access=access, authority=authority)
    with served(app, leaf, key) as port, served(app, *strange_leaf(files)) as other:
        yield Bench(shop, access, authority, f"https://{NAME}:{port}", f"https://{STRANGE}:{other}")
    engine.dispose()


def strange_leaf(files: Path) -> tuple[Path, Path]:
    """What a thief of the authority's key could make: a certificate for a name that is not the shop's."""
    root = x509.load_pem_x509_certificate((files / "authority.pem").read_bytes())
    root_key = serialization.load_pem_private_key((files / "authority-key.pem").read_bytes(), password=None)
    assert isinstance(root_key, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    leaf = sign(root, root_key, key, names_of([STRANGE]), datetime.now(UTC))
    pem = serialization.Encoding.PEM
    leaf_file, key_file = files.parent / "strange.pem", files.parent / "strange-key.pem"
    leaf_file.write_bytes(leaf.public_bytes(pem) + root.public_bytes(pem))
    key_file.write_bytes(
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    )
    return leaf_file, key_file


@contextmanager
def browser_of(home: Path, chromium: str) -> Iterator[Browser]:
    """Chromium for a person whose files are there; the bench's names lead to this machine."""
    rules = f"--host-resolver-rules=MAP {NAME} 127.0.0.1,MAP {STRANGE} 127.0.0.1"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, args=[*ARGUMENTS, rules], env={**os.environ, "HOME": str(home)}
        )
        yield browser
        browser.close()


def page_of(context: BrowserContext) -> Page:
    page = context.new_page()
    page.set_default_timeout(30_000)
    return page


def test_a_phone_that_trusts_the_shops_authority_has_all_that_https_gives(
    bench: Bench, needs_chromium: str, needs_certutil: str, tmp_path: Path
) -> None:
    store = tmp_path / ".pki" / "nssdb"
    store.mkdir(parents=True)
    with (
        browser_of(tmp_path / "stranger", needs_chromium) as browser,
        pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"),
    ):
        page_of(browser.new_context()).goto(bench.address)  # it was not told to trust it yet
    for words in (["-N", "--empty-password"], ["-A", "-t", "C,,", "-n", "shop", "-i", str(bench.authority)]):
        done = [needs_certutil, "-d", f"sql:{store}", *words]
        subprocess.run(done, check=True, capture_output=True, stdin=subprocess.DEVNULL, timeout=60)
    with browser_of(tmp_path, needs_chromium) as browser:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = page_of(context)
        page.goto(f"{bench.address}/phone")
        expect(page.get_by_text("Yes: The connection is trusted.")).to_be_visible()
        expect(page.get_by_text("Yes: It can work in the background.")).to_be_visible()
        heron = next(one for one in tree_store.rack(bench.shop.engine) if one.label == "Heron")
        page.goto(f"{bench.address}/T/{heron.id}")
        page.get_by_label("Code").fill(bench.access.new_code("acts"))
        page.get_by_role("button", name="Pair").click()
        expect(page.get_by_role("heading", name="Heron, coat 5 of 10?")).to_be_visible()
        (cookie,) = context.cookies()
        assert cookie["name"] == "__Host-slowcorner"
        assert (cookie["secure"], cookie["httpOnly"], cookie["sameSite"]) == (True, True, "Lax")
        script = page.evaluate(
            """async () => {
              const { active, waiting, installing } = await navigator.serviceWorker.ready;
              return (active ?? waiting ?? installing).scriptURL;
            }"""
        )
        assert script == f"{bench.address}/sw.js"
        page.goto(f"{bench.address}/shop")
        said = page.locator("#told-phone [role=status]")
        expect(said).to_have_text("This phone is not told.")  # nothing is missing but to ask for it
        page.get_by_role("button", name="Tell this phone").click()
        # A browser without a window refuses notices unasked: that, and nothing of the connection, is missing.
        expect(said).to_contain_text(re.compile("Notices (are not allowed yet|were refused)"))
        expect(page.get_by_role("link", name="Set up this phone’s trust")).to_be_hidden()
        with pytest.raises(Error, match=re.compile("ERR_CERT_(INVALID|NAME_CONSTRAINT_VIOLATION)")):
            page_of(context).goto(bench.strange)


def test_the_strange_server_would_be_believed_but_for_the_name_constraints(bench: Bench) -> None:
    """So that the refusal above is the constraint's: OpenSSL names it, and the leaf is of the right name."""
    host, port = STRANGE, int(bench.strange.rpartition(":")[2])
    client = ssl.create_default_context(cafile=bench.authority)
    with (
        socket.create_connection(("127.0.0.1", port), timeout=20) as plain,
        pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"),
    ):
        client.wrap_socket(plain, server_hostname=host)
