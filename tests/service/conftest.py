"""A store of one's own for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from server.store.engine import open_store


@pytest.fixture
def engine(tmp_path: Path) -> Iterator[Engine]:
    engine = open_store(f"sqlite:///{tmp_path}/slowcorner.db")
    yield engine
    engine.dispose()
