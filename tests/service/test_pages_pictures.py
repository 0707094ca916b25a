"""The section of a shell and the charts: to scale, well formed, and never a number that is none."""

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.forecast import NEVER, Quantiles
from sensors.clock import HOUR_MS, MINUTE_MS, Millis, parse_time
from server.pages.air_chart import air_svg
from server.pages.axes import TimeAxis
from server.pages.chart import Drying, drying_svg, ranked
from server.pages.section import DRY_SHADE, FILLET_MM, HEIGHT, WET_SHADE, Layer, layers, section_svg, shade
from server.pages.traces import trace_of
from server.pages.wording import duration_words
from server.verdicts import AirPoint, SpotVerdict

NOON = parse_time("2026-03-02T12:00:00Z")
UTC = ZoneInfo("UTC")


def spot(
    code: str = "face",
    curve: Sequence[tuple[Millis, float]] = (),
    ahead: Sequence[tuple[Millis, float]] = (),
    remaining: float = 0.5,
    fit_at: Quantiles = NEVER,
    wetness: tuple[float, ...] = (),
) -> SpotVerdict:
    return SpotVerdict(
        code, code, remaining, remaining, 1.0, 18.0, 0.05, False, fit_at, tuple(curve), tuple(ahead), wetness
    )


def drawn(
    spots: Sequence[SpotVerdict],
    air: Sequence[AirPoint],
    dips: Sequence[tuple[int, Millis]],
    slowest: str | None,
    now: Millis,
    zone: ZoneInfo,
) -> str:
    """The chart of spots, the slowest looked at."""
    traces = [trace_of(one) for one in ranked(spots, slowest)]
    return drying_svg(Drying(traces, [one.limit for one in spots], dips, air), now, zone)


def parsed(svg: str) -> ElementTree.Element:
    """An SVG read as XML (it must be well formed), with every number in it finite."""
    root = ElementTree.fromstring(svg)
    for element in root.iter():
        for value in element.attrib.values():
            assert not re.search(r"\b(nan|inf)\b", value), value
    return root


def paths(svg: str) -> list[str]:
    return [element.attrib["d"] for element in parsed(svg).iter("path")]


def numbers(path: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", path)]


def test_coats_of_a_face_lie_to_scale() -> None:
    """Closed form: every coat is its thickness times one scale high, whatever the scale is."""
    coats = [Layer(0.6, 0.0), Layer(1.0, 0.5), Layer(1.4, 1.0)]
    outer, middle, inner, wax = [numbers(path)[1] for path in paths(section_svg("face", coats, "a face"))]
    assert (middle - outer) / 1.4 == pytest.approx((inner - middle) / 1.0, abs=0.02)
    assert (inner - middle) / 1.0 == pytest.approx((wax - inner) / 0.6, abs=0.04)


@pytest.mark.parametrize("angle", [30.0, 60.0, 90.0, 120.0])
def test_a_joint_is_drawn_with_its_angle_and_fillet(angle: float) -> None:
    """Closed forms of a fillet of radius r in a corner θ: middle at (h + r)/sin(θ/2) − r, arc tangent to
    both walls."""
    half, thickness = math.radians(angle) / 2, 1.6
    svg = section_svg(f"joint:{angle:g}", [Layer(0.6, 0.2), Layer(1.0, 0.9)], "a joint")
    newest, _, wax = paths(svg)
    apex = numbers(wax)[2:4]
    line, arc = newest.split("A")[0], newest.split("A")[1]
    far_x, far_y, left_x, left_y = numbers(line)[:4]
    radius, _, _, _, _, right_x, right_y = numbers(arc)[:7]
    scale = radius / FILLET_MM
    assert math.atan2(left_x - far_x, left_y - far_y) == pytest.approx(half, abs=0.01)
    assert right_y == left_y
    # The arc's lowest point is as far above the apex of the wax as the closed form says.
    centre_y = left_y - radius * math.sin(half)
    middle = (apex[1] - (centre_y + radius)) / scale
    assert middle == pytest.approx((thickness + FILLET_MM) / math.sin(half) - FILLET_MM, rel=0.01)
    assert (right_x - left_x) / 2 == pytest.approx(radius * math.cos(half), abs=0.02)


def test_a_smaller_angle_shows_a_deeper_fillet() -> None:
    """More slurry bridges a narrower corner (1/sin(θ/2) − 1 grows), so its picture must take in more
    millimetres."""
    scales = []
    for angle in (30, 60, 90):
        newest = paths(section_svg(f"joint:{angle}", [Layer(1.0, 1.0)], "a joint"))[0]
        scales.append(numbers(newest.split("A")[1])[0] / FILLET_MM)
    assert scales == sorted(scales)


def test_wet_is_dark_and_dry_is_pale() -> None:
    shades = [shade(step / 10) for step in range(11)]
    light = [sum(int(one[at : at + 2], 16) for at in (1, 3, 5)) for one in shades]
    assert light == sorted(light, reverse=True)
    assert (light[0], light[-1]) == (sum(DRY_SHADE), sum(WET_SHADE))


def test_the_judge_s_own_wetness_is_drawn_where_it_is_said() -> None:
    said = layers((1.0, 1.0), (0.3, 0.3), spot(wetness=(0.2, 1.4)))
    assert [coat.wetness for coat in said] == [0.2, 1.0]
    spread = layers((1.0, 1.0), (0.3, 0.3), spot(remaining=0.5))
    assert [coat.wetness for coat in spread] == [0.25, 0.25]
    with_water_unknown = layers((1.0,), (0.0,), spot(remaining=0.5))
    assert [coat.wetness for coat in with_water_unknown] == [0.0]


@given(
    kind=st.sampled_from(["face", "joint", "pocket", "cavity", "nose"]),
    size=st.floats(0.1, 500, allow_nan=False),
    depth=st.floats(0.0, 500, allow_nan=False),
    coats=st.lists(st.tuples(st.floats(0.05, 5), st.floats(-1, 3)), max_size=12),
)
def test_any_section_is_well_formed(
    kind: str, size: float, depth: float, coats: list[tuple[float, float]]
) -> None:
    sized = {"joint": f"{size}", "pocket": f"{size}x{depth}", "cavity": f"{size}x{depth / 500},blown"}
    code = f"{kind}:{sized[kind]}" if kind in sized else kind
    svg = section_svg(code, [Layer(*coat) for coat in coats], "<a & b>", scale_bar=True)
    root = parsed(svg)
    assert root.attrib["aria-label"] == "<a & b>"
    assert len([path for path in root.iter("path") if "fill" in path.attrib]) == len(coats)
    assert root.attrib["viewBox"].endswith(f" {HEIGHT:g}")


TIMES = st.integers(NOON - 100 * HOUR_MS, NOON + 400 * HOUR_MS)
CURVES = st.lists(st.tuples(TIMES, st.floats(-0.5, 9)), max_size=6).map(sorted)
MAYBE = st.none() | st.floats(-30, 60)
AIRS = st.lists(st.builds(AirPoint, TIMES, MAYBE, MAYBE), max_size=8).map(
    lambda air: sorted(air, key=lambda point: point.time)
)


@given(
    past=st.lists(CURVES, max_size=4),
    ahead=CURVES,
    fit=st.none() | TIMES,
    air=AIRS,
    zone=st.sampled_from(["UTC", "Europe/Helsinki", "Asia/Kathmandu", "America/St_Johns"]),
)
def test_any_chart_is_well_formed(
    past: list[list[tuple[Millis, float]]],
    ahead: list[tuple[Millis, float]],
    fit: Millis | None,
    air: list[AirPoint],
    zone: str,
) -> None:
    when = Quantiles(fit, fit, fit)
    spots = [spot(f"joint:{n}", curve, ahead, fit_at=when) for n, curve in enumerate(past)]
    svg = drawn(spots, air, [(1, NOON)], "joint:0", NOON, ZoneInfo(zone))
    if svg:
        parsed(svg)
    else:
        assert not any(past)
        assert not (spots and ahead)
    wet = [AirPoint(one.time, one.temp_c, None if one.rh_pct is None else abs(one.rh_pct)) for one in air]
    if svg := air_svg(wet, 0.3, [("n<1>", [(NOON, NOON + HOUR_MS)])], NOON, ZoneInfo(zone)):
        parsed(svg)


def test_a_curve_of_one_point_and_an_empty_one_divide_by_nothing() -> None:
    assert drawn([], [], [], None, NOON, UTC) == ""
    assert drawn([spot()], [], [], None, NOON, UTC) == ""
    parsed(drawn([spot(curve=[(NOON, 1.0)])], [], [(1, NOON)], "face", NOON, UTC))
    assert air_svg([AirPoint(NOON, 20.0, 50.0)], 0.3, [], NOON, UTC) == ""


def drying_chart() -> str:
    past = [(NOON - (60 - m) * MINUTE_MS, 1 - m / 100) for m in range(0, 61, 5)]
    ahead = [(NOON + m * MINUTE_MS, 0.4 * 0.97**m) for m in range(0, 121, 5)]
    fit = NOON + 68 * MINUTE_MS
    spots = [spot("joint:30", past, ahead, 0.4, Quantiles(fit, fit, fit)), spot("face", past[:7], (), 0.7)]
    air = [
        AirPoint(NOON - m * MINUTE_MS, *((None, None) if 20 <= m <= 30 else (20.0, 50.0)))
        for m in range(60, 0, -10)
    ]
    return drawn(spots, air, [(4, NOON - HOUR_MS)], "joint:30", NOON, ZoneInfo("Asia/Kathmandu"))


def test_a_chart_names_its_lines_units_limit_dip_and_shop_time() -> None:
    words = [element.text for element in parsed(drying_chart()).iter("text")]
    for word in (
        "joint:30", "face", "Left of the dip’s water, %", "Air, °C", "Humidity, %RH", "20 °C", "50 %RH",
        "fit at 5 %", "coat 4 dipped", "now",
    ):  # fmt: skip
        assert word in words
    # Kathmandu is 5 h 45 min ahead of UTC (tz database); labels are round in the shop's own time.
    hours = [word for word in words if word and re.fullmatch(r"\d\d:\d\d", word)]
    assert hours == ["17:00", "18:00", "19:00"] or hours == ["17:00", "17:30", "18:00", "18:30"]


def test_what_is_ahead_is_paler_and_a_gap_is_a_gap() -> None:
    kinds = [element.attrib.get("class") for element in parsed(drying_chart()).iter("path")]
    assert kinds.count("ahead") == 1
    assert kinds.count("gap") == 2  # one stretch that is not known, in two strips
    weights = {element.attrib.get("stroke-dasharray") for element in parsed(drying_chart()).iter("path")}
    assert {None, "7 3"} <= weights


def test_labels_stay_round_when_the_clocks_change() -> None:
    """In Helsinki the clocks went on an hour at 03:00 on 29 March 2026 (tz database)."""
    start = parse_time("2026-03-28T22:00:00Z")
    ticks = list(TimeAxis(start, start + 12 * HOUR_MS, 0.0, 1.0, ZoneInfo("Europe/Helsinki")).ticks())
    assert [label for _, label in ticks] == ["00:00", "06:00", "12:00"]
    assert [(after - before) / HOUR_MS for (before, _), (after, _) in pairwise(ticks)] == [5.0, 6.0]


@given(st.integers(0, 60 * 24 * HOUR_MS), st.integers(0, 60 * 24 * HOUR_MS))
def test_durations_are_told_in_two_figures_and_in_order(one: Millis, other: Millis) -> None:
    def millis(words: str) -> float:
        if words == "a minute or two":
            return 0.0
        _, amount, unit = words.split()
        assert len(amount.replace(".", "")) <= 2, words
        assert unit != "min" or float(amount) % 5 == 0  # never to the minute
        return float(amount) * {"min": MINUTE_MS, "h": HOUR_MS, "days": 24 * HOUR_MS}[unit]

    short, long = sorted((one, other))
    assert millis(duration_words(short)) <= millis(duration_words(long))
    told = millis(duration_words(long))
    # Half a step: 2.5 min of the smallest, and a fifth at 1.25 h, where half hours begin to be told.
    assert told == 0 or abs(told - long) <= max(2.5 * MINUTE_MS, 0.2 * long)
