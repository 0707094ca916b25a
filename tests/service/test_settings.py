"""The shop's settings: every one documented, set by form, refused in words, in the shop's own units."""

import ast
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

import server
from sensors.clock import MINUTE_MS
from server.drying.instruments import Instruments
from server.settings_table import HERE, KEPT_BY_ITSELF, SETTINGS
from server.shop_instruments import instruments_of
from server.shop_rules import LIMITS_SETTING, shop_rules
from server.shop_settings import SettingError, keep_settings, meaning, said_now
from server.store import measurements as measurement_store
from server.store import recipes as recipe_store
from server.store import shop as shop_store
from server.store.engine import Engine
from server.store.values import NewMeasurement
from server.units import Units
from tests.service.fake_shop import NOON, Browser, FakeShop
from tests.service.test_pages import Reader, read

SERVER = Path(server.__file__).parent


def test_every_setting_is_documented() -> None:
    """What the code reads by `shop.setting` is in the table, or is kept by itself and none of a person's."""
    documented = {setting.key.partition(".")[0] for setting in SETTINGS} | KEPT_BY_ITSELF
    found = set(keys_in_code())
    assert len(found) > 10, "the search for settings finds none"
    assert found - documented == set()
    assert documented - found == set()
    for setting in SETTINGS:
        assert setting.does.endswith(".")
        assert setting.name
        assert setting.limits
        assert setting.usual
        if setting.kind in ("number", "whole") and not setting.set_on:
            assert meaning(setting, setting.usual) == float(setting.usual)


def keys_in_code() -> list[str]:
    """The key in each call of setting() and set_setting(); a module's own constants first."""
    trees = {path: ast.parse(path.read_text("utf-8")) for path in SERVER.rglob("*.py")}
    of_all: dict[str, str] = {}
    for tree in trees.values():
        of_all |= constants_of(tree)
    keys = []
    for path, tree in trees.items():
        named = of_all | constants_of(tree)
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or len(node.args) < 2:
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name not in ("setting", "set_setting"):
                continue
            key = node.args[1]
            if isinstance(key, ast.Constant):
                keys.append(str(key.value))
            elif isinstance(key, ast.Name) and key.id in named:
                keys.append(named[key.id])
            else:  # a key that is worked out: by the tables of settings and beliefs themselves
                assert path.name in ("shop_settings.py", "believing.py"), (path, ast.unparse(node))
                keys += [setting.key.partition(".")[0] for setting in SETTINGS]
    return keys


def constants_of(tree: ast.AST) -> dict[str, str]:
    """The names of a module for strings: `A = "a"` and `A, B = "a", "b"`."""
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant | ast.Tuple):
            values = node.value.elts if isinstance(node.value, ast.Tuple) else [node.value]
            for target in node.targets:
                names = target.elts if isinstance(target, ast.Tuple) else [target]
                for name, value in zip(names, values, strict=False):
                    if isinstance(name, ast.Name) and isinstance(value, ast.Constant):
                        found[name.id] = str(value.value)
    return found


def test_all_are_shown_with_what_they_do_and_their_range(web: Browser) -> None:
    text = Reader(web.get("/shop/settings").text).text
    for setting in SETTINGS:
        assert setting.name in text
        assert setting.does in text
    for setting in HERE:
        assert setting.limits[1:] in text
    read(web, "/shop/settings")


def test_what_is_set_holds(shop: FakeShop, web: Browser) -> None:
    shop_store.set_setting(shop.engine, LIMITS_SETTING, {"prime.rh_low_pct": 50})
    said = said_now(shop.engine) | {
        "closes_at": "17:15",
        "gap_limit_minutes": "45",
        "warning_limits.cooling_k": "6,5",
        "warning_limits.prewet_after_h": "24",
        "time_zone": "Europe/Helsinki",
        "shop_name": "Reedbed Foundry",
    }
    answer = web.post("/shop/settings", data=said)
    assert (answer.status_code, answer.headers["location"]) == (303, "/shop/settings")
    rules = shop_rules(shop.engine)
    assert (f"{rules.closes:%H:%M}", rules.gap_limit) == ("17:15", 45 * MINUTE_MS)
    assert (rules.limits.cooling_k, rules.limits.prewet_after_h) == (6.5, 24.0)
    assert rules.limits.prime.rh_low_pct == 50.0
    assert rules.zone.key == "Europe/Helsinki"
    page = web.get("/shop/settings").text
    assert 'value="17:15"' in page
    assert "Reedbed Foundry" in page


def test_what_is_left_empty_becomes_as_usual(engine: Engine) -> None:
    usual = shop_rules(engine)
    keep_settings(engine, {"closes_at": "16:00", "warning_limits.warming_k": "3", "time_zone": "Asia/Tokyo"})
    assert shop_rules(engine) != usual
    keep_settings(engine, {"closes_at": "", "warning_limits.warming_k": " ", "time_zone": ""})
    assert shop_rules(engine) == usual


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"warning_limits.warming_k": "0"}, "0 is outside 0.5 to 30 K"),
        ({"warning_limits.cooling_k": "nan"}, "nan is outside 0.5 to 30 K"),
        ({"warning_limits.prime.low_c": "40"}, "leave no air at all"),
        ({"closes_at": "25:00"}, "'25:00' is not a time of day"),
        ({"gap_limit_minutes": "29"}, "29 is outside 30 to 720 min"),
        ({"gap_limit_minutes": "45.5"}, "'45.5' is not a whole number"),
        ({"altitude_m": "9000"}, "9000 is outside -400 to 4000 m"),
        ({"scale_reads_to_g": "0.5"}, "0.5 is outside 1 to 100 g"),
        ({"thermometer_off_k": "inf"}, "inf is outside 0.1 to 3 K"),
        ({"time_zone": "Atlantis/Reef"}, "'Atlantis/Reef' is not a name of the time zone database"),
        ({"temperature_unit": "K"}, "'K' is not °C or °F"),
        ({"shop_name": "x" * 61}, "61 signs; it takes up to 60"),
        ({"shop_nome": "x"}, "Setting 'shop_nome' is not one of"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_set(
    shop: FakeShop, web: Browser, change: dict[str, str], words: str
) -> None:
    before = said_now(shop.engine)
    answer = web.post("/shop/settings", data=before | {"closes_at": "12:34"} | change)
    assert answer.status_code == 422
    assert words in Reader(answer.text).text
    assert said_now(shop.engine) == before


@given(st.sampled_from(HERE), st.text(max_size=80))
def test_any_text_is_set_or_refused_naming_the_setting(setting: object, text: str) -> None:
    one = next(known for known in HERE if known is setting)
    try:
        value = meaning(one, text)
    except SettingError as error:
        value = str(error)
        event("refused")
        assert value.startswith(one.name)
    assert value is None or isinstance(value, str | int | float)


def test_places_that_were_measured_learn_anew_by_other_instruments(shop: FakeShop, web: Browser) -> None:
    tree = shop.hang("Heron", "A1", coats=1)
    new = NewMeasurement(tree.id, "weighing", NOON, NOON, value=3.2)
    measurement_store.add_measurement(shop.engine, new)
    assert instruments_of(shop.engine) == Instruments(weighing_kg=0.002, difference_k=0.5)
    for change, said in (
        ({"scale_reads_to_g": "1"}, Instruments(0.0004, 0.5)),
        ({"thermometer_off_k": "0,3"}, Instruments(0.0004, 0.3)),
        ({"shop_name": "Reedbed Foundry"}, Instruments(0.0004, 0.3)),
    ):
        shop.rack.learned.clear()
        assert web.post("/shop/settings", data=change).status_code == 303
        assert instruments_of(shop.engine) == said
        # The cellar, where nothing was measured, has nothing to learn anew.
        assert shop.rack.learned == ([] if "shop_name" in change else [("drying-room", "instruments")])
    for wrong in ("5", -1, 1e9):
        shop_store.set_setting(shop.engine, "scale_reads_to_g", wrong)
        assert instruments_of(shop.engine).weighing_kg == 0.002


def test_a_place_has_a_fan_of_its_own(shop: FakeShop, web: Browser) -> None:
    answer = web.post("/shop/settings/places", data={"place": "drying-room", "speed_m_s": "1.4"})
    assert answer.status_code == 303
    assert 'value="1.4"' in web.get("/shop/settings").text
    for wrong in ({"place": "drying-room", "speed_m_s": "0"}, {"place": "nowhere", "speed_m_s": "1"}):
        assert web.post("/shop/settings/places", data=wrong).status_code == 422


def test_a_recipe_is_written_and_stays(shop: FakeShop, web: Browser) -> None:
    said = {
        "name": "Thin", "count_prime": "1", "thickness_prime": "0.5", "water_prime": "180",
        "count_backup": "3", "thickness_backup": "1", "water_backup": "320", "count_seal": "0",
    }  # fmt: skip
    assert web.post("/shop/recipes", data=said).status_code == 303
    thin = recipe_store.recipes(shop.engine)[-1]
    assert [(coat.kind, coat.thickness_mm, coat.water_kg_m2) for coat in thin.coats] == [
        ("prime", 0.5, 0.18),
        *[("backup", 1.0, 0.32)] * 3,
    ]
    text = read(web, "/shop/recipes")
    assert "Coats 2 to 4: backup, 1 mm thick, 320 g/m² of water a dip" in str(getattr(text, "text", text))
    for change, words in (
        ({}, "is there already"),
        ({"name": ""}, "A recipe's name has 1 to 60 signs, this one 0"),
        ({"name": "B", "count_prime": "0", "count_backup": "0"}, "A shell has 1 to 30 coats, this one 0"),
        ({"name": "B", "thickness_prime": "0"}, "Prime coats, thickness [mm]: 0 is outside 0.1 to 10"),
        ({"name": "B", "water_backup": "much"}, "Backup coats, water [g/m²]: 'much' is not a number"),
        ({"name": "B", "count_backup": "1.5"}, "'1.5' is not a whole number"),
    ):
        answer = web.post("/shop/recipes", data=said | change)
        assert answer.status_code == 422
        assert words in Reader(answer.text).text
    assert recipe_store.recipes(shop.engine)[-1] == thin


@given(st.floats(-40.0, 90.0), st.floats(0.001, 500.0), st.floats(0.1, 3000.0))
def test_units_go_there_and_back(temp_c: float, kg: float, mm: float) -> None:
    units = Units("°F", "in", "lb")
    assert units.temp_c(units.temp(temp_c)) == pytest.approx(temp_c, abs=1e-6)
    assert units.kg(units.mass(kg)) == pytest.approx(kg)
    assert units.mm(units.length(mm)) == pytest.approx(mm)
    temps = [units.temp(temp) for temp in (temp_c, temp_c + 1.0)]
    assert all(high - low == pytest.approx(1.8, abs=1e-6) for low, high in pairwise(temps))


def test_fixed_points_of_the_units() -> None:
    """The freezing and boiling points of water, and the definitions of the pound and the inch (1959)."""
    units = Units("°F", "in", "lb")
    assert (units.temp(0.0), units.temp(100.0), units.temp(-40.0)) == (32.0, 212.0, -40.0)
    assert units.kg(1.0) == 0.45359237
    assert units.mm(1.0) == 25.4
    assert Units().said("5 K colder, 21.0 °C, 2 mm, 3 kg") == "5 K colder, 21.0 °C, 2 mm, 3 kg"
    assert units.said("10 to 27 °C; 0.32 kg/m² stays") == "50 to 81 °F; 0.32 kg/m² stays"
