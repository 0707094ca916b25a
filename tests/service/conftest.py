"""A store of one's own for each test, and a made-up shop on it."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from server.store.engine import open_store
from tests.service.fake_shop import Browser, FakeShop


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    yield engine
    engine.dispose()


@pytest.fixture
def shop(engine: Engine) -> FakeShop:
    return FakeShop(engine)


@pytest.fixture
def web(shop: FakeShop) -> Iterator[Browser]:
    with Browser(shop) as browser:
        yield browser
