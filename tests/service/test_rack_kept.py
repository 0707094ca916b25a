"""The rack's page is made anew when something on it would read otherwise, and only then."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from sensors.clock import MINUTE_MS
from server.pages import rack_kept
from server.pages.rack import rack_page
from server.pages.rack_contexts import RackPage
from server.pages.rack_kept import KeptRack
from server.parts import Parts
from server.store import places, shop, trees
from server.store.engine import open_store
from tests.service.fake_shop import NOON, FakeShop, furnished


@pytest.fixture
def kept_shop(tmp_path: Path) -> Iterator[FakeShop]:
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    shop = FakeShop(engine)
    furnished(shop)
    yield shop
    engine.dispose()


def test_it_is_made_once_and_bears_the_time_at_which_it_is_shown(
    kept_shop: FakeShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[str] = []

    def counted(parts: Parts, place: str) -> RackPage:
        made.append(place)
        return rack_page(parts, place)

    monkeypatch.setattr(rack_kept, "rack_page", counted)
    rack = KeptRack(kept_shop.parts)

    def shown() -> str:
        return bytes(rack.show().body).decode()

    first = shown()
    kept_shop.clock.advance(1234)
    second = shown()
    assert len(made) == 1
    assert f'data-as-of="{NOON + 1234}"' in second
    assert re.sub(r'data-as-of="\d+"', "", first) == re.sub(r'data-as-of="\d+"', "", second)

    kept_shop.clock.advance(MINUTE_MS)
    shown()
    assert len(made) == 2, "the minute turned"

    tree = trees.rack(kept_shop.engine)[0]
    trees.amend_tree(kept_shop.engine, tree.id, now=NOON, hook="Z9")
    assert "hook Z9" in shown()

    shop.set_setting(kept_shop.engine, "shop_name", "Nightjar Foundry")
    assert "Nightjar Foundry" in shown()

    places.set_speed(kept_shop.engine, tree.place, 0.7)
    shown()
    assert len(made) == 5
    shown()
    assert len(made) == 5


def test_what_is_kept_is_shown_at_once_and_nothing_that_would_read_otherwise(kept_shop: FakeShop) -> None:
    rack = KeptRack(kept_shop.parts)
    assert rack.shown() is None, "it was never made"
    made = rack.show()
    kept = rack.shown()
    assert kept is not None
    assert bytes(kept.body) == bytes(made.body)
    assert rack.shown(trees.rack(kept_shop.engine)[0].place) is None, "another place's is another page"
    kept_shop.clock.advance(MINUTE_MS)
    assert rack.shown() is None
