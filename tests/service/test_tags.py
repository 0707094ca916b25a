"""Tags: codes that are right, short and in either case; a look writes nothing; what they lead to."""

import re
from xml.etree import ElementTree

import pytest
import segno

from server.pages.tag_codes import MOST_HOOKS, QUIET, code_of, hook_address, tree_address
from server.store import dips as dip_store
from server.store import trees as tree_store
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished
from tests.service.test_pages import Reader, read

BASE = "HTTP://FOUNDRY.LOCAL:8000"
ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
"""The signs of the alphanumeric mode: ISO/IEC 18004, from memory."""


def matrix_of(svg: str) -> list[list[int]]:
    """The dark squares of a drawn code, read from its SVG's own lines: each is a run, one module high."""
    root = ElementTree.fromstring(svg)
    assert root.tag.endswith("svg")
    paths = [one for one in root.iter() if one.tag.endswith("path")]
    dark = next(one for one in paths if one.get("stroke") == "#000")
    scale = re.search(r'transform="scale\(([\d.]+)\)"', svg)
    assert scale
    side = round(float((root.get("width") or "").removesuffix("mm")) / float(scale[1]))
    rows = [[0] * side for _ in range(side)]
    x = y = 0.0
    for letter, figures in re.findall(r"([Mmh])([-\d. ]+)", dark.get("d") or ""):
        numbers = [float(one) for one in re.findall(r"-?\d*\.?\d+", figures)]
        if letter == "M":
            x, y = numbers
        elif letter == "m":
            x, y = x + numbers[0], y + numbers[1]
        else:
            for at in range(round(numbers[0])):
                rows[int(y)][round(x) + at] = 1
            x += numbers[0]
    return rows


@pytest.mark.parametrize("side_mm", [25, 35, 50])
@pytest.mark.parametrize(
    "address",
    [
        tree_address(BASE, 7),
        tree_address(BASE, 2**31 - 1),
        hook_address(BASE, "a3"),
        hook_address(BASE, "by the Tür_1/2~"),
    ],
)
def test_a_code_says_its_address_in_the_small_mode_and_in_millimetres(address: str, side_mm: int) -> None:
    """Drawn, measured and read again: against the matrix that segno makes of the same address."""
    code = code_of(address, side_mm)
    assert set(address) <= ALPHANUMERIC
    made = segno.make(address, error="m", micro=False)
    assert made.mode == "alphanumeric"
    assert int(made.version) < int(segno.make(address.lower(), error="m", micro=False).version)
    root = ElementTree.fromstring(str(code.svg))
    assert float((root.get("width") or "").removesuffix("mm")) == pytest.approx(side_mm, abs=0.1)
    assert root.get("width") == root.get("height")
    expected = [[int(bit) for bit in row] for row in made.matrix_iter(border=QUIET)]
    assert matrix_of(str(code.svg)) == expected


def test_the_sheet_has_a_tag_for_every_tree_and_hook(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    answer = web.get("/tags", params={"address": "http://foundry.local:8000/", "more": "C1-C3"})
    assert answer.status_code == 200
    for tree in trees.values():
        assert f"Code of {BASE}/T/{tree.id}" in answer.text
        assert f"Code of {BASE}/H/{tree.hook}" in answer.text
    assert all(f"Code of {BASE}/H/C{number}" in answer.text for number in (1, 2, 3))
    assert answer.text.count('class="tag"') == 2 * len(trees) + 3
    assert "would not work" not in answer.text
    for path in (f"/tags?tree={trees['Snipe'].id}", f"/trees/{trees['Snipe'].id}/tag"):
        [one] = re.findall(r"Code of (\S+)\"", web.get(path).text)
        assert one == f"HTTP://127.0.0.1:8000/T/{trees['Snipe'].id}"


def test_an_address_that_is_this_machine_alone_is_warned_of(shop: FakeShop, web: Browser) -> None:
    furnished(shop)
    page = read(web, "/tags")
    assert "These tags would not work: 127.0.0.1 is each machine’s own name for itself" in page.text
    assert "Back to the shop" in page.text


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"address": "foundry.local"}, "does not begin with http:// or https://"),
        ({"address": "javascript:alert(1)"}, "does not begin with http:// or https://"),
        ({"address": "http://a b"}, "no host that can be printed"),
        ({"address": "http://"}, "no host that can be printed"),
        ({"address": "http://x:99999"}, "cannot be read"),
        ({"address": "http://me@x"}, "more than a host and a port"),
        ({"address": "http://x/path"}, "more than a host and a port"),
        ({"address": "http://" + "x" * 500}, "507 signs long: it may have up to 100"),
        ({"more": "A1-A9999"}, f"are 9999 hooks: one sheet takes up to {MOST_HOOKS}"),
        ({"more": "A9-A1"}, "runs backwards"),
        ({"more": "x" * 61}, "is not one line of up to 60 signs"),
        ({"more": ",".join(f"h{n}" for n in range(MOST_HOOKS + 1))}, "hooks are too many"),
    ],
)
def test_what_cannot_go_on_a_tag_is_said(web: Browser, asked: dict[str, str], words: str) -> None:
    answer = web.get("/tags", params=asked)
    assert answer.status_code == 422
    assert words in Reader(answer.text).text
    assert 'class="tag"' not in answer.text


@pytest.mark.parametrize("path", ["/T/{id}", "/t/{id}", "/H/A1", "/h/a1", "/H/a1"])
def test_a_tag_asks_and_a_look_writes_nothing(shop: FakeShop, web: Browser, path: str) -> None:
    heron = furnished(shop)["Heron"]
    page = read(web, path.format(id=heron.id))
    assert "Heron, coat 5 of 10?" in page.text
    assert "hook A1 · Drying room · backup" in page.text
    assert "Fit to dip" in page.text
    assert web.ask("HEAD", path.format(id=heron.id)).status_code in (200, 405)
    assert len(dip_store.all_dips(shop.engine, heron.id)) == 4
    [(action, fields)] = page.forms
    assert action == f"/trees/{heron.id}/dips"
    assert fields["coat"] == "5"
    # Said at the tag, and then on the tree's own page that was open all the while: one dip.
    [(_, theirs)] = [form for form in read(web, f"/trees/{heron.id}").forms if form[0] == action]
    assert fields["key"] == theirs["key"]
    assert web.post(action, data=fields).status_code == 303
    assert web.post(action, data={"key": theirs["key"]}).status_code == 303
    assert len(dip_store.all_dips(shop.engine, heron.id)) == 5


def test_a_tree_that_is_not_fit_asks_again_behind_its_tag(shop: FakeShop, web: Browser) -> None:
    bittern = furnished(shop)["Bittern"]
    [(action, fields)] = read(web, "/h/a2").forms
    answer = web.post(action, data=fields)
    assert answer.status_code == 409
    assert "dip anyway?" in answer.text
    assert len(dip_store.dips(shop.engine, bittern.id)) == 3


def test_a_hook_with_no_tree_and_an_unknown_one_say_so(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    tree_store.take_off(shop.engine, trees["Heron"].id, "scrapped", NOON, "Ann", "cracked")
    page = read(web, "/h/a1")
    assert "No tree hangs on hook A1" in page.text
    assert "/trees/new?hook=A1" in page.links
    assert page.forms == []
    assert "No tree hangs on hook Z9" in read(web, "/h/Z9").text
    assert "Heron is off the rack: it was scrapped." in read(web, f"/t/{trees['Heron'].id}").text
    assert "All 10 coats are on" in read(web, f"/t/{trees['Curlew'].id}").text
    assert "There is no tree 999" in read(web, "/T/999", 404).text
    read(web, "/T/heron", 422)
    read(web, f"/t/{2**40}", 422)
    escaped = web.get("/h/%3Cscript%3Ealert(1)%3C%2Fscript%3E")
    assert escaped.status_code == 200
    assert "<script>alert" not in escaped.text


def test_hooks_that_differ_by_case_alone_are_both_shown(shop: FakeShop, web: Browser) -> None:
    one, other = shop.hang("Heron", "b1"), shop.hang("Teal", "B1")
    page = read(web, "/H/B1")
    assert "Which one on hook B1?" in page.text
    assert {f"/t/{one.id}", f"/t/{other.id}"} <= set(page.links)
    assert web.get("/tags", params={"address": BASE}).text.count(f"Code of {BASE}/H/B1") == 1


def test_a_hook_of_any_words_is_found_again_by_its_address(shop: FakeShop, web: Browser) -> None:
    for name in ("by the Tür_1/2~", "צד שמאל", "100 %", "straße", "a?b#c"):
        tree = shop.hang("Heron", name)
        path = hook_address("", name)
        assert set(path) <= ALPHANUMERIC
        for cased in (path, path.lower()):
            assert f"/trees/{tree.id}/dips" in web.get(cased).text, cased
        tree_store.take_off(shop.engine, tree.id, "scrapped", NOON, "Ann", "done")
