"""What cannot be, at the judge, the command line and the API: unsure or a clear error, never a verdict."""

import json
import math
import re
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from sensors.clock import HOUR_MS, format_time
from server.believing import set_believed
from server.cli import app
from server.drying.materials import MaterialError, coat
from server.live import LiveRack
from server.store import readings
from server.store.engine import Engine
from tests.service.fake_shop import NOON, Browser, FakeShop, furnished, problem
from tests.service.records import START, judge, record, steady
from tests.service.test_cli import air_file, coats_file
from tests.service.test_live import Shop, only

DAY = START + 24 * HOUR_MS

NONSENSE = [
    (math.nan, 50.0),
    (21.0, math.nan),
    (math.inf, 50.0),
    (21.0, 120.0),
    (21.0, -5.0),
    (-15.0, 50.0),
    (75.0, 20.0),
]


def finite(told: Any) -> bool:
    """Whether JSON can carry it: no NaN and no infinity anywhere in it."""
    try:
        json.dumps(told, allow_nan=False, default=str)
    except ValueError:
        return False
    return "nan" not in repr(told).lower()


class TestJudge:
    @pytest.mark.parametrize(("temp_c", "rh_pct"), NONSENSE)
    def test_air_that_cannot_be_dries_nothing(self, temp_c: float, rh_pct: float) -> None:
        judged = judge(record(steady(START, 12, temp_c=temp_c, rh_pct=rh_pct)))
        judged.advance(DAY)
        assert judged.state is not None
        coat_record = judged.state.coats[-1]
        assert coat_record.fit_at is None
        assert set(coat_record.spot_fit_at) == {None}
        assert finite(judged.state.curves)
        assert judged.ahead() == ()

    def test_nor_does_air_that_is_not_there(self) -> None:
        judged = judge(record([]))
        judged.advance(DAY)
        assert judged.state is not None
        assert judged.state.coats[-1].fit_at is None
        assert judged.ahead() == ()

    @pytest.mark.parametrize(("temp_c", "rh_pct"), NONSENSE)
    def test_an_hour_of_nonsense_does_not_spoil_the_rest(self, temp_c: float, rh_pct: float) -> None:
        odd = steady(START + HOUR_MS + 60_000, 1, temp_c=temp_c, rh_pct=rh_pct, node="n1")
        sound = [*steady(START, 1), *steady(START + 3 * HOUR_MS, 21)]
        judged = judge(record([*sound, *odd]), spots=("face",))
        judged.advance(DAY)
        assert judged.state is not None
        assert judged.state.coats[-1].fit_at is not None
        assert finite(judged.state.curves)


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "words"),
    [
        (-15.0, 50.0, "-15 °C, is outside what the model covers, -10 to 60 °C"),
        (75.0, 20.0, "What n1 says of the air at drying-room cannot be believed; the page Air says why."),
    ],
)
@pytest.mark.parametrize("members", [1, 3])
def test_the_rack_is_unsure_in_air_that_the_model_does_not_cover(
    engine: Engine, temp_c: float, rh_pct: float, words: str, members: int
) -> None:
    shop = Shop(engine, members)
    shop.dip(0.0)
    shop.say(steady(START, 6, temp_c=temp_c, rh_pct=rh_pct))
    shop.at(6)
    rack = shop.rack()
    said = only(rack)
    rack.close()
    assert said.state == "unsure"
    assert words in said.reason
    assert said.fit_at.p90 is None
    assert finite(asdict(said))


@pytest.mark.parametrize(("temp_c", "rh_pct"), [(-15.0, 50.0), (75.0, 20.0), (None, 0.0)])
@pytest.mark.parametrize("members", [1, 3])
def test_no_page_and_no_answer_says_nan(
    shop: FakeShop, web: Browser, temp_c: float | None, rh_pct: float, members: int
) -> None:
    set_believed(shop.engine, members=members)
    tree = shop.hang("Heron", "A1", coats=1)
    if temp_c is not None:
        said = steady(NOON - 4 * HOUR_MS, 4, temp_c=temp_c, rh_pct=rh_pct)
        readings.keep(shop.engine, said, [], [], NOON)
    rack = LiveRack(shop.engine, shop.clock)
    rack.open()
    rack.look()
    verdict = rack.tree(tree.id)
    rack.close()
    assert verdict is not None
    assert verdict.outlook.state == "unsure"
    shop.rack.verdicts[tree.id] = verdict
    for path in ("/", f"/trees/{tree.id}", "/api/rack", f"/api/trees/{tree.id}/history"):
        answer = web.get(path)
        assert answer.status_code == 200
        assert not re.search(r"\b(nan|inf|infinity)\b", answer.text, re.IGNORECASE), path


@pytest.mark.parametrize("temp_c", [-9.95, 59.95])
def test_air_at_the_edge_is_judged_whatever_a_member_takes_its_sensor_for(
    engine: Engine, temp_c: float
) -> None:
    shop = Shop(engine, members=8)
    shop.dip(0.0)
    shop.say(steady(START, 3, temp_c=temp_c, rh_pct=1.0))
    shop.at(3)
    rack = shop.rack()
    said = only(rack)
    rack.close()
    assert said.state in ("drying", "fit")
    assert finite(asdict(said))


@pytest.mark.parametrize("thickness_mm", [0.0, -1.0, math.nan, math.inf, 40.0])
def test_a_coat_of_no_thickness_is_refused(thickness_mm: float) -> None:
    with pytest.raises(MaterialError, match=r"thickness .* mm is outside 0\.05 to 10 mm"):
        coat("backup", thickness_mm)


class TestCommandLine:
    @pytest.mark.parametrize(
        ("words", "fault"),
        [
            (("--rh", "nan"), "relative humidity nan %"),
            (("--rh", "-1"), "relative humidity -1 % is outside 0 to 100 %"),
            (("--air-temp", "-15"), "air temperature -15 °C is outside -10 to 60 °C"),
            (("--air-temp", "61"), "air temperature 61 °C is outside -10 to 60 °C"),
            (("--air-temp", "inf"), "temperature inf °C"),
            (("--air-speed", "nan"), "air speed nan m/s"),
            (("--fillet", "nan"), "fillet radius nan mm"),
            (("--spot", "joint:14"), "joint angle 14° in 'joint:14' is outside 15° to 150°"),
            (("--spot", "pocket:nanx10"), "pocket mouth"),
        ],
    )
    @pytest.mark.parametrize("members", [1, 2])
    def test_estimate_says_what_is_off(self, words: tuple[str, ...], fault: str, members: int) -> None:
        given = ("estimate", "--json", *(() if "--spot" in words else ("--spot", "face")), *words)
        result = CliRunner(env={"SLOWCORNER_MEMBERS": str(members)}).invoke(app, list(given))
        assert result.exit_code != 0
        assert fault in result.stderr.replace("\n", " ")
        assert result.stdout == ""

    @pytest.mark.parametrize("members", [1, 3])
    @pytest.mark.parametrize("temp_c", [-15, 75])
    def test_replay_gives_no_verdict_in_air_that_the_model_does_not_cover(
        self, tmp_path: Path, temp_c: int, members: int
    ) -> None:
        lines = [f"{format_time(START + hour * HOUR_MS)},room,{temp_c},20" for hour in range(20)]
        files = (air_file(tmp_path, lines), coats_file(tmp_path))
        given = ["replay", *map(str, files), "--json"]
        result = CliRunner(env={"SLOWCORNER_MEMBERS": str(members)}).invoke(app, given)
        assert result.exit_code == 0, result.stderr
        for line in result.stdout.splitlines():
            said = json.loads(line)
            times = said["fit_at"] or {}
            assert set(times.values()) <= {None}
            assert "not known" in said["warnings"][0]
            assert finite(said)

    def test_replay_names_the_line_of_humidity_that_cannot_be(self, tmp_path: Path) -> None:
        lines = [f"{format_time(START)},room,21,50", f"{format_time(START + HOUR_MS)},room,21,120"]
        files = (air_file(tmp_path, lines), coats_file(tmp_path))
        result = CliRunner().invoke(app, ["replay", *map(str, files), "--json"])
        assert result.exit_code == 1
        assert "line 3" in result.stderr.replace("\n", "")
        assert "120" in result.stderr
        assert result.stdout == ""


class TestApi:
    @pytest.mark.parametrize("code", ["joint:14", "joint:151", "joint:nan", "pocket:0x10", "cavity:60x0"])
    def test_a_spot_that_cannot_be(self, shop: FakeShop, web: Browser, code: str) -> None:
        furnished(shop)
        asked = {
            "label": "Ruff", "hook": "Z9", "place": "drying-room", "recipe": 1, "size_mm": 25,
            "spots": [{"code": code, "name": "odd"}],
        }  # fmt: skip
        said = problem(web.post("/api/trees", json=asked), 422)
        assert code in json.dumps(said, ensure_ascii=False)

    @pytest.mark.parametrize("value", ["NaN", "Infinity", "120", "-3"])
    def test_humidity_that_cannot_be_is_kept_out(self, shop: FakeShop, web: Browser, value: str) -> None:
        pack = f'[{{"bn":"drying-room/wall/","n":"humidity","u":"%RH","v":{value}}}]'
        said = problem(web.post("/api/readings", content=pack.encode()), 422)
        assert "humidity" in said["detail"]
        assert "NaN" not in web.get("/api/rack").text
