"""The command line. `slowcorner demo`, `serve`, `estimate`, `replay` are here, the others beside it.

Exit codes: 0 done; 1 the job could not be done; 2 the words of the command are off (Typer's own).
"""

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import ValidationError
from rich.progress import Progress
from rich.table import Table

from scheduler.forecast import Quantiles
from sensors.air_table import AirFileError, read_air_table
from sensors.clock import format_time, parse_time
from server.access_commands import certificate_command, pair_command, token_command
from server.check_command import check_command
from server.drying.drawing import default_count, drawn
from server.drying.estimate import Estimate, Spread, estimate
from server.replaying import CoatsFileError, ReplayedCoat, read_coats, replay
from server.settings import Settings
from server.store_commands import backup_command, listen_command, node_password_command, restore_command
from server.terminal import (
    DEFAULT_SPOTS,
    AirSpeedOption,
    AirTempOption,
    FilletOption,
    HumidityOption,
    JsonOption,
    KindOption,
    LayerOption,
    MembersOption,
    SizeOption,
    SpotsOption,
    duration,
    err,
    fail,
    out,
    waiting,
)
from server.what_if_command import what_if_command

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,  # so that units in brackets are not read as markup
    help="Tells which ceramic-shell tree is fit to dip next, judged at its slowest corner. "
    "It advises on drying; it is no safety device.",
)
app.command("what-if")(what_if_command)
app.command("check")(check_command)
app.command("listen")(listen_command)
app.command("node-password")(node_password_command)
app.command("pair")(pair_command)
app.command("token")(token_command)
app.command("certificate")(certificate_command)
app.command("backup")(backup_command)
app.command("restore")(restore_command)


@app.command()
def demo(
    data: Annotated[Path, typer.Option(help="Folder for the demo's store.")] = Path("demo-data"),
    port: Annotated[int, typer.Option(help="Port of the page.", min=0, max=65535)] = 8000,
    mqtt: Annotated[
        str, typer.Option(help="Where the built-in MQTT listener listens.")
    ] = "listen://127.0.0.1:0",
    rate: Annotated[float, typer.Option(help="Shop seconds in one second.", min=1, max=1000)] = 300.0,
) -> None:
    """The whole job on one machine: simulated nodes, real MQTT, made-up trees, 300 times as fast."""
    from server.running import run_demo  # noqa: PLC0415 - the web parts load only where they serve

    _serve(lambda settings: run_demo(settings, rate), data=data, port=port, mqtt=mqtt)


@app.command()
def serve(
    data: Annotated[Path | None, typer.Option(help="Folder for the store [default: data].")] = None,
    host: Annotated[str | None, typer.Option(help="Address of the page [default: 127.0.0.1].")] = None,
    port: Annotated[
        int | None, typer.Option(help="Port of the page [default: 8000].", min=0, max=65535)
    ] = None,
    database: Annotated[
        str | None, typer.Option(help="Database URL [default: SQLite in the data folder].")
    ] = None,
    mqtt: Annotated[
        str | None,
        typer.Option(
            help="Where nodes are heard: listen://HOST:PORT, or a broker at mqtt:// or mqtts://HOST:PORT "
            "[default: listen://127.0.0.1:1883]."
        ),
    ] = None,
    tls: Annotated[bool, typer.Option("--tls", help="Serve HTTPS at the TLS port.")] = False,
    tls_port: Annotated[
        int | None, typer.Option(help="Port of HTTPS [default: 8443].", min=0, max=65535)
    ] = None,
    names: Annotated[str | None, typer.Option(help="Further names of the machine, with commas.")] = None,
    trusted_proxy: Annotated[
        str | None, typer.Option(help="Addresses of proxies whose X-Forwarded headers are believed.")
    ] = None,
) -> None:
    """The real service; beyond this machine once someone has paired.

    Each flag can also be set as SLOWCORNER_NAME.
    """
    from server.running import run_service  # noqa: PLC0415 - the web parts load only where they serve

    given = {"data": data, "host": host, "port": port, "database": database, "mqtt": mqtt}
    given |= {"tls": tls or None, "tls_port": tls_port, "names": names, "trusted_proxy": trusted_proxy}
    _serve(run_service, **{name: value for name, value in given.items() if value is not None})


@app.command("estimate")
def estimate_command(
    kind: KindOption = "backup",
    layer: LayerOption = 1,
    air_temp: AirTempOption = 21.0,
    rh: HumidityOption = 50.0,
    air_speed: AirSpeedOption = 0.6,
    size: SizeOption = 25.0,
    fillet: FilletOption = 2.0,
    spot: SpotsOption = None,
    members: MembersOption = None,
    as_json: JsonOption = False,
) -> None:
    """How long one coat takes in given air."""
    try:
        with waiting("Working it out"):
            found = estimate(
                kind=kind,
                layer=layer,
                temp_c=air_temp,
                rh_pct=rh,
                air_speed_m_s=air_speed,
                size_mm=size,
                fillet_mm=fillet,
                spots=tuple(spot or DEFAULT_SPOTS),
                ensemble=drawn(members or default_count()),
            )
    except ValueError as error:
        fail(str(error))
    if as_json:
        sys.stdout.write(json.dumps(_estimate_json(found)) + "\n")
    else:
        out.print(_estimate_table(found))


@app.command("replay")
def replay_command(
    air: Annotated[Path, typer.Argument(help="CSV with time,place,temp_c,rh_pct and maybe air_speed_m_s.")],
    coats: Annotated[Path, typer.Argument(help="JSON with the trees, their spots and their dips.")],
    as_of: Annotated[
        str | None, typer.Option(help="Judge with what was known then (a time with its zone).")
    ] = None,
    members: MembersOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, one object a coat.")] = False,
) -> None:
    """Run a record of air and dips through the judge that the service uses."""
    try:
        moment = None if as_of is None else parse_time(as_of)
        readings = read_air_table(air)
        said = read_coats(coats)
        with Progress(console=err, transient=True, disable=not err.is_terminal) as bar:
            task = bar.add_task("Judging the trees", total=len(said.trees))
            found = replay(
                readings,
                said,
                moment,
                lambda done, total: bar.update(task, completed=done, total=total),
                drawn(members or default_count()),
            )
    except OSError as error:
        fail(f"{error.filename}: {error.strerror}")
    except (AirFileError, CoatsFileError, ValueError) as error:
        fail(str(error))
    if as_json:
        for coat in found:
            sys.stdout.write(json.dumps(_coat_json(coat)) + "\n")
    else:
        out.print(_replay_table(list(found)))
        for coat in found:
            for warning in coat.verdict.warnings:
                out.print(
                    f"{coat.tree}, coat {coat.verdict.number}: {warning}", markup=False, highlight=False
                )


def _serve(run: Any, **given: Any) -> None:
    try:
        settings = Settings(**given)
    except ValidationError as error:
        fail("; ".join(str(fault["msg"]).removeprefix("Value error, ") for fault in error.errors()))
    try:
        run(settings)
    except (OSError, RuntimeError) as error:
        fail(str(error))


def _estimate_json(found: Estimate) -> dict[str, Any]:
    return {
        "spots": [
            {
                "spot": spot.spot,
                "fit_after_s": _seconds(spot.fit_after_s),
                "water_left": [[round(seconds, 1), round(left, 5)] for seconds, left in spot.water_left],
                "coldest_c": round(spot.coldest_c, 2),
            }
            for spot in found.spots
        ],
        "slowest": found.slowest,
        "fit_after_s": _seconds(found.fit_after_s),
    }


def _seconds(after: Spread) -> dict[str, float | None]:
    return {
        name: None if value is None else round(value, 1)
        for name, value in zip(("p10", "p50", "p90"), after, strict=True)
    }


def _estimate_table(found: Estimate) -> Table:
    table = Table(title="Time until the next coat may go on")
    for heading in ("spot", "fit after", "left after 1 h", "coldest"):
        table.add_column(heading, justify="left" if heading == "spot" else "right")
    for spot in found.spots:
        slow = " (slowest)" if spot.spot == found.slowest else ""
        at_an_hour = next((left for seconds, left in spot.water_left if seconds >= 3600), None)
        table.add_row(
            spot.spot + slow,
            _spread_words(spot.fit_after_s),
            "-" if at_an_hour is None else f"{at_an_hour:.0%}",
            f"{spot.coldest_c:.1f} °C",
        )
    return table


def _spread_words(after: Spread) -> str:
    low, middle, high = after
    if middle is None:
        return "not within 14 days" if low is None else f"{duration(low)} or far longer"
    if low == middle == high:
        return duration(middle)
    return f"{duration(middle)} ({duration(low or 0.0)} to {'?' if high is None else duration(high)})"


def _quantile_times(times: Quantiles) -> dict[str, str | None]:
    return {
        name: None if value is None else format_time(value)
        for name, value in (("p10", times.p10), ("p50", times.p50), ("p90", times.p90))
    }


def _coat_json(coat: ReplayedCoat) -> dict[str, Any]:
    verdict = coat.verdict
    return {
        "tree": coat.tree,
        "coat": verdict.number,
        "kind": verdict.kind,
        "dipped_at": format_time(verdict.dipped_at),
        "fit_at": None if verdict.fit_at.p50 is None else _quantile_times(verdict.fit_at),
        "slowest_spot": verdict.slowest_spot,
        "warnings": list(verdict.warnings),
    }


def _replay_table(found: list[ReplayedCoat]) -> Table:
    table = Table(title="Coats as judged by the record")
    for heading in ("tree", "coat", "kind", "dipped", "fit", "slowest spot"):
        table.add_column(heading)
    for coat in found:
        verdict = coat.verdict
        # As sure as the shop wants to be, which is when the judge called it fit.
        fit = "not by the end" if verdict.fit_at.p90 is None else format_time(verdict.fit_at.p90)
        table.add_row(
            coat.tree,
            str(verdict.number),
            verdict.kind,
            format_time(verdict.dipped_at),
            fit,
            verdict.slowest_spot or "-",
        )
    return table
