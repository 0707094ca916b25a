"""`slowcorner listen`, `backup` and `restore`, as they are typed."""

from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from typer.testing import CliRunner

from sensors.clock import HOUR_MS, SECOND_MS
from sensors.reading import NodeStatus, Reading, Rejected
from server import listening
from server.cli import app
from server.data_folder import held
from server.settings import Settings
from server.store import readings, shop
from server.store.arrivals import arrivals_after, mark_now
from server.store.engine import Engine, open_store
from tests.service.records import START

CAME = START + 2 * HOUR_MS
PACK = [
    Reading("cellar", "n7", "temperature", "Cel", 21.5, CAME - SECOND_MS),
    Reading("cellar", "n7", "humidity", "%RH", 55.0, CAME - SECOND_MS),
]
LATE = Reading("cellar", "n8", "humidity", "%RH", 61.0, CAME - HOUR_MS)
ODD = Rejected("slowcorner/cellar/n9/senml", "the payload is empty", b"\x00 no", CAME)


def test_arrivals_are_those_after_the_mark_once_each(engine: Engine) -> None:
    readings.keep(engine, PACK[:1], [ODD], [], CAME - 1)
    mark = mark_now(engine)
    assert arrivals_after(engine, mark).readings == ()
    readings.keep(engine, [*PACK, LATE], [ODD, ODD], [NodeStatus("cellar", "n7", True, CAME)], CAME)
    came = arrivals_after(engine, mark)
    assert came.readings == ((CAME, LATE), (CAME, PACK[1]))
    assert [one.id for one in came.rejections] == [2, 3]
    assert came.statuses == (NodeStatus("cellar", "n7", True, CAME),)
    again = arrivals_after(engine, came.mark)
    assert (again.readings, again.rejections, again.statuses, again.mark) == ((), (), (), came.mark)


def test_each_pack_is_a_line_with_its_own_time_where_it_came_late(engine: Engine) -> None:
    mark = mark_now(engine)
    readings.keep(engine, [*PACK, LATE], [ODD], [NodeStatus("cellar", "n7", False, CAME)], CAME)
    assert list(listening.lines(arrivals_after(engine, mark), ZoneInfo("Europe/Helsinki"))) == [
        "10:00:00  cellar/n7  is gone",
        "10:00:00  cellar/n8  humidity 61 %RH  (of 09:00:00)",
        "10:00:00  cellar/n7  humidity 55 %RH, temperature 21.5 Cel",
        "10:00:00  KEPT OUT  slowcorner/cellar/n9/senml: the payload is empty\n          · no",
    ]


def run(*words: str | Path) -> tuple[int, str]:
    result = CliRunner().invoke(app, [str(word) for word in words])
    return result.exit_code, result.output


def test_listen_says_what_was_kept_out_before_and_that_no_service_runs(tmp_path: Path) -> None:
    engine = open_store(Settings(data=_made(tmp_path / "data")).database_url)
    shop.set_setting(engine, "time_zone", "Europe/Helsinki")
    readings.keep(engine, [], [ODD], [], CAME)
    engine.dispose()
    code, said = run("listen", "--data", tmp_path / "data", "--seconds", "0")
    assert code == 0
    assert "10:00:00  KEPT OUT  slowcorner/cellar/n9/senml: the payload is empty" in said
    assert "No service is at work on" in said
    with held(tmp_path / "data"):
        assert (
            "No service is at work on" not in run("listen", "--data", tmp_path / "data", "--seconds", "0")[1]
        )


def test_listen_prints_what_comes_while_it_looks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings = Settings(data=_made(tmp_path / "data"))
    engine = open_store(settings.database_url)

    def one_comes() -> None:
        readings.keep(engine, PACK, [], [], CAME)

    looks = iter((one_comes, _interrupt))
    listening.listen(settings, 0, None, lambda _seconds: next(looks)())
    engine.dispose()
    assert "cellar/n7  humidity 55 %RH, temperature 21.5 Cel" in capsys.readouterr().out


def test_listen_with_no_store_says_what_to_do(tmp_path: Path) -> None:
    code, said = run("listen", "--data", tmp_path / "none")
    assert code == 1
    assert "start `slowcorner serve` with that folder first" in said.replace("\n", " ")
    assert not (tmp_path / "none").exists()


def test_backup_and_restore_as_they_are_typed(tmp_path: Path) -> None:
    open_store(Settings(data=_made(tmp_path / "data")).database_url).dispose()
    file = tmp_path / "shop.tar.gz"
    steps: list[tuple[Callable[[], tuple[int, str]], int, str]] = [
        (lambda: run("backup", file, "--data", tmp_path / "data"), 0, "1 file"),
        (lambda: run("backup", file, "--data", tmp_path / "data"), 1, "is there already"),
        (lambda: run("restore", file, "--data", tmp_path / "data"), 1, "holds a store already"),
        (lambda: run("restore", file, "--data", tmp_path / "data", "--replace"), 0, "Restored to"),
        (lambda: run("restore", file, "--data", tmp_path / "other"), 0, "Restored to"),
        (lambda: run("restore", tmp_path / "none", "--data", tmp_path / "x"), 1, "No such file"),
    ]
    for step, code, words in steps:
        found, said = step()
        assert (found, words in said.replace("\n", " ")) == (code, True), said


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def _interrupt() -> None:
    raise KeyboardInterrupt
