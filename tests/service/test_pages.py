"""The pages over a real store, read as a person without script reads them."""

import re
from html.parser import HTMLParser

from scheduler.forecast import Notice, Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS
from server.pages.wording import STATE_WORDS
from server.store import dips as dip_store
from server.store import trees as tree_store
from server.store.values import Tree
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished
from tests.service.postman import tell

FORBIDDEN = re.compile(r"\bsafe\b|strong enough|ready to pour|!", re.IGNORECASE)


class Reader(HTMLParser):
    """What a page says in words, its links, its forms with their fields, and whether its tags close."""

    VOID = frozenset({"meta", "link", "input", "br", "path", "img"})

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.links: list[str] = []
        self.forms: list[tuple[str, dict[str, str]]] = []
        self.scripts: list[dict[str, str | None]] = []
        self._open: list[str] = []
        self.feed(html)
        assert self._open == [], f"left open: {self._open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        assert "style" not in given
        assert not any(name.startswith("on") for name in given), "no script inside a page"
        if tag == "a":
            self.links.append(given.get("href") or "")
        if tag == "form":
            self.forms.append((given.get("action") or "", {}))
        if tag == "input" and self.forms and given.get("type") == "hidden":
            self.forms[-1][1][given.get("name") or ""] = given.get("value") or ""
        if tag in ("script", "style"):
            self.scripts.append(given)
        if tag not in self.VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self._open.pop() == tag

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def read(web: Browser, path: str, status: int = 200) -> Reader:
    answer = web.get(path)
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"].startswith("text/html")
    page = Reader(answer.text)
    assert not FORBIDDEN.search(page.text), FORBIDDEN.search(page.text)
    return page


def test_every_page_reads_well(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    for path in ("/", "/air", "/shop", "/trees/new", *(f"/trees/{tree.id}" for tree in trees.values())):
        page = read(web, path)
        sources = [one.get("src") or "written in the page" for one in page.scripts]
        assert sources[0] == "/static/shop.js"
        assert all(source.startswith("/static/") for source in sources)
        assert page.links[1:5] == ["/", "/next", "/air", "/shop"]
        assert "Reedmace Casting" in page.text
        assert "Mon 2 Mar, 14:00" in page.text  # noon UTC is 14:00 in Helsinki in March (tz database)


def test_every_state_is_a_word(shop: FakeShop, web: Browser) -> None:
    furnished(shop)
    page = read(web, "/")
    for state in ("new", "drying", "fit", "unsure", "resting", "through"):
        assert STATE_WORDS[state] in page.text


def test_the_next_to_dip_comes_first_and_large(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    page = read(web, "/")
    assert next(link for link in page.links if link.startswith("/trees/")) == f"/trees/{trees['Heron'].id}"
    assert (
        "Heron Fit to dip for about 20 min coat 4 of 10, backup next is coat 5, backup "
        "about a twentieth is left at the vent joint" in page.text
    )
    assert "Bittern hook A2 · Drying room Drying · fit in about 40 min" in page.text
    assert "about a third is left at the vent joint" in page.text
    assert "fit not before tomorrow afternoon" in page.text
    assert "The air in the cellar has not been known since 10:10." in page.text


def test_an_empty_rack_says_so(web: Browser) -> None:
    assert "No tree hangs on the rack yet" in read(web, "/").text
    assert "No node has been heard yet" in read(web, "/air").text
    assert "Nothing was due yet" in read(web, "/shop").text


def test_a_tree_tells_its_spots_and_coats(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    text = read(web, f"/trees/{trees['Bittern'].id}").text
    for words in (
        "Drying · fit in about 40 min",
        "About a third is left at the vent joint.",
        "Dipped: coat 4",
        "Undo coat 3, dipped 11:00",
        "vent joint 30° joint",
        "34 % of the dip’s water, fit at 5 %",
        "Coat 2, prime",
        "about a fifth was left at the next dip",
        "Dipped on a damp coat.",
        "silica",
        "alkaline",
    ):
        assert words in text


def test_burnout_cautions_stand_where_it_comes_next(shop: FakeShop, web: Browser) -> None:
    trees = furnished(shop)
    text = read(web, f"/trees/{trees['Teal'].id}").text
    assert "molten metal on anything damp" in text
    assert "Local codes" in text
    assert "Dipped: coat" not in text


def dip_form(web: Browser, tree: Tree) -> tuple[str, dict[str, str]]:
    return next(form for form in read(web, f"/trees/{tree.id}").forms if form[0].endswith("/dips"))


def test_a_dip_by_form_goes_on_to_the_tree(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    action, fields = dip_form(web, tree)
    answer = web.post(action, data={**fields, "ago_min": "10", "pot": "2", "note": "thin", "prewet": "yes"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/trees/{tree.id}")
    [dip] = dip_store.dips(shop.engine, tree.id)
    assert (dip.at, dip.pot, dip.note, dip.prewet, dip.partial) == (
        NOON - 10 * MINUTE_MS, "2", "thin", True, False,
    )  # fmt: skip
    assert shop.rack.refreshed == [tree.id]


def test_sending_the_form_twice_is_one_dip(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1")
    action, fields = dip_form(web, tree)
    assert {web.post(action, data=fields).status_code for _ in range(3)} == {303}
    assert len(dip_store.all_dips(shop.engine, tree.id)) == 1
    assert dip_form(web, tree)[1]["key"] != fields["key"]


def test_the_question_is_a_page_and_yes_takes_the_dip_as_it_was_said(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.34)
    action, fields = dip_form(web, tree)
    asked = web.post(action, data={**fields, "note": "thin <b>"})
    assert asked.status_code == 409
    page = Reader(asked.text)
    assert "About a third is left at the vent joint: dip anyway?" in page.text
    assert "Yes, coat 3 went on" in page.text
    assert f"/trees/{tree.id}" in page.links
    assert len(dip_store.dips(shop.engine, tree.id)) == 2
    shop.clock.advance(5 * MINUTE_MS)
    [(action, fields)] = page.forms
    assert web.post(action, data=fields).status_code == 303
    dip = dip_store.dips(shop.engine, tree.id)[-1]
    assert (dip.at, dip.said_at, dip.note) == (NOON, NOON + 5 * MINUTE_MS, "thin <b>")


def test_a_refusal_is_a_page_with_its_reason(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.34)
    answer = web.post(f"/trees/{tree.id}/dips", data={"ago_min": "600"})
    assert answer.status_code == 422
    assert "is not after coat 2 of Heron" in Reader(answer.text).text
    assert "No dip was written down" in answer.text
    tree_store.take_off(shop.engine, tree.id, "scrapped", NOON, "Ada", "cracked")
    assert web.post(f"/trees/{tree.id}/dips").status_code == 409


def test_a_cleared_tree_keeps_its_page(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2)
    tree_store.take_off(shop.engine, tree.id, "cleared", NOON, "Ada", "dry by scale")
    text = read(web, f"/trees/{tree.id}").text
    assert "Cleared" in text
    assert "Coat 2, prime" in text
    assert "Undo" not in text


def test_undo_asks_and_then_undoes(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.3)
    link = next(link for link in read(web, f"/trees/{tree.id}").links if link.endswith("/undo"))
    page = read(web, link)
    assert "Undo coat 2 of Heron, dipped 11:00?" in page.text
    assert len(dip_store.dips(shop.engine, tree.id)) == 2
    answer = web.post(page.forms[0][0])
    assert (answer.status_code, answer.headers["location"]) == (303, f"/trees/{tree.id}")
    assert len(dip_store.dips(shop.engine, tree.id)) == 1
    assert tree.id in shop.rack.refreshed
    read(web, link, 404)


def test_only_the_latest_coat_can_be_undone(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=2, state="drying", remaining=0.3)
    first = dip_store.dips(shop.engine, tree.id)[0]
    assert "undo that one first" in read(web, f"/trees/{tree.id}/dips/{first.id}/undo", 409).text


def test_the_shop_page_tells_what_was_told(shop: FakeShop, web: Browser) -> None:
    notice = Notice("fit:1:4:5", "fit", 1, "Heron: fit to dip", "Coat 5 of 10 (backup) may go on.", NOON)
    tell(shop.engine, [notice], NOON)
    text = read(web, "/shop").text
    assert "Heron: fit to dip Coat 5 of 10 (backup) may go on. 14:00 · told here only" in text
    assert "no safety device" in text
    assert "BPushKeyOfATestShop" in text


def test_what_is_said_is_shown_and_not_run(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("<img src=x>", "A1", 1, "drying", (("joint:30", "<svg onload=x>"),), remaining=0.3)
    for path in ("/", f"/trees/{tree.id}"):
        html = web.get(path).text
        assert "<img" not in html
        assert "<svg onload" not in html
        assert "&lt;img src=x&gt;" in html


def test_unknown_pages_are_told_in_words(web: Browser) -> None:
    assert "There is no tree 999." in read(web, "/trees/999", 404).text
    read(web, "/nothing", 404)
    read(web, "/trees/0", 422)


def test_a_tree_not_judged_yet_says_so(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    del shop.rack.verdicts[tree.id]
    page = read(web, f"/trees/{tree.id}")
    assert "It has not been judged yet." in page.text
    assert "Unsure" in page.text


def test_a_forecast_with_a_spread_is_told_as_one(shop: FakeShop, web: Browser) -> None:
    fit = Quantiles(NOON + 2 * HOUR_MS, NOON + 150 * MINUTE_MS, NOON + 3 * HOUR_MS)
    shop.hang("Heron", "A1", 2, "drying", fit=fit, remaining=0.3)
    assert "fit in about 2.5 h, 2-3 h" in read(web, "/").text
