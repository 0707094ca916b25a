"""The shop's settings and clock, and the saved states of the model."""

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from server.store import saved, shop
from server.store.engine import open_store
from server.store.values import ClockAnchor


@pytest.mark.parametrize("value", [None, True, 0.1, "°F", ["a", 1], {"limit": {"prime": 0.1}}])
def test_a_setting_comes_back_as_it_was_set(engine: Engine, value: Any) -> None:
    shop.set_setting(engine, "units", "first")
    shop.set_setting(engine, "units", value)
    assert shop.setting(engine, "units") == value
    assert shop.setting(engine, "other") is None


def test_the_clock_goes_on_from_where_it_was(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/slowcorner.db"
    engine = open_store(url)
    assert shop.clock_anchor(engine) is None
    shop.set_clock_anchor(engine, 1_772_431_200_000, 1_772_500_000_000, 300.0)
    engine.dispose()
    engine = open_store(url)
    try:
        assert shop.clock_anchor(engine) == ClockAnchor(1_772_431_200_000, 1_772_500_000_000, 300.0)
    finally:
        engine.dispose()


def test_saved_states_by_time_each_once(engine: Engine) -> None:
    saved.save_states(engine, [])
    saved.save_states(engine, [(1, 20, "b", b"2"), (1, 10, "a", b"1"), (2, 10, "a", b"other")])
    saved.save_state(engine, 1, 10, "a", b"\x00new")
    assert saved.saved_states(engine, 1) == [(10, "a", b"\x00new"), (20, "b", b"2")]
    saved.forget_states(engine, 1, 20)
    assert saved.saved_states(engine, 1) == [(10, "a", b"\x00new")]
    assert saved.saved_states(engine, 2) == [(10, "a", b"other")]


def test_states_are_replaced_from_where_they_changed(engine: Engine) -> None:
    saved.save_states(engine, [(1, time, "a", b"old") for time in (10, 20, 30)] + [(2, 10, "a", b"old")])
    saved.replace_states(engine, [(1, 10, [(25, "a", b"new")]), (2, None, [(5, "a", b"new")]), (3, None, [])])
    assert saved.saved_states(engine, 1) == [(10, "a", b"old"), (25, "a", b"new")]
    assert saved.saved_states(engine, 2) == [(5, "a", b"new")]
