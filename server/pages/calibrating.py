"""The page on which a node is calibrated: a jar of salt step by step, a reference, what was done so far."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from markupsafe import Markup

from sensors.calibration import CalibratedQuantity, held_between
from sensors.clock import DAY_MS, MINUTE_MS, SECOND_MS, Millis
from sensors.reading import Reading
from sensors.salts import SALTS, salt_humidity_pct
from sensors.settling import MOST_SLOPE_PCT_H, MOST_TEMP_RANGE_K, WINDOW_MS, Settling
from server.calibrating import REFERENCE_ERRORS, SaidPoint, jar_now, known_node, node_said, offered_jars
from server.pages.axes import TimeAxis
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.strips import GAP, HEIGHT, Line, Strip, strip_svg
from server.pages.svg import LEFT, RIGHT, svg, time_labels
from server.pages.wording import clock_words, duration_words
from server.parts import Parts
from server.store import calibrations as store
from server.store import places as place_store
from server.store.calibrations import Calibration, Jar, KeptPoint
from server.units import Units

SHOWN_MS = DAY_MS
"""The longest stretch of a jar that its chart shows [ms]."""

SINCE = (
    ("0", "now"),
    ("1", "a day ago"),
    ("7", "a week ago"),
    ("30", "a month ago"),
    ("all", "its first reading"),
)
"""From when on a calibration may hold: days back, and the words."""

HOLDS_AT_C = 20.0
"""At this temperature it is said what a salt holds [°C]."""

COMMONEST = ("NaCl", "MgCl2")
"""The salts that are offered first: easy to have, and around what a drying room is kept at."""


@dataclass(frozen=True)
class JarView:
    """The jar that a node is in: of what, since when, how far, and what it should come to."""

    salt: str
    begun: str
    now: str
    state: str
    settled: bool
    chart: Markup


@dataclass(frozen=True)
class JarChoice:
    """A jar that was read, to make a calibration of."""

    id: int
    words: str


@dataclass(frozen=True)
class CalibrationLine:
    """A calibration as it was made; `undo` is where it is taken back, "" where it was."""

    what: str
    how: str
    when: str
    undo: str


@dataclass(frozen=True)
class CalibratePage:
    """A node's calibration. `address` is the page's own; `salts` and `sinces` are values with their words.

    `holds_at`: the temperature at which the salts are said to hold so much; `compared`: what a reference can
    tell, with its unit, and `usual_error` what it is good for where nothing is said.
    """

    frame: Frame
    node: str
    place: str
    address: str
    fault: str
    jar: JarView | None
    salts: tuple[tuple[str, str], ...]
    holds_at: str
    cautions: tuple[str, ...]
    limits: str
    read_jars: tuple[JarChoice, ...]
    compared: tuple[tuple[str, str], ...]
    usual_error: str
    sinces: tuple[tuple[str, str], ...]
    done: tuple[CalibrationLine, ...]


def address_of(place: str, node: str) -> str:
    """Where a node is calibrated.

    >>> address_of("cellar", "n1")
    '/air/nodes/cellar/n1/calibrate'
    """
    return f"/air/nodes/{place}/{node}/calibrate"


def calibrate_page(parts: Parts, place: str, node: str, fault: str = "") -> CalibratePage:
    """The page of one node; `fault` says what could not be done. Raises UnknownError where there is none."""
    known_node(parts, node, place)
    shop = shop_now(parts)
    named = place_store.place(parts.engine, place)
    inside = jar_now(parts, place, node)
    made = store.calibrations(parts.engine, place, node)
    return CalibratePage(
        frame=frame(parts, shop, f"Calibrate {node}", "air"),
        node=node,
        place=place if named is None else named.name,
        address=address_of(place, node),
        fault=shop.units.said(fault),
        jar=None if inside is None else _jar(parts, shop, *inside),
        salts=tuple(
            (code, f"{SALTS[code].name}: {salt_humidity_pct(code, HOLDS_AT_C):.0f} %RH")
            for code in dict.fromkeys((*COMMONEST, *SALTS))
        ),
        holds_at=shop.units.temp_words(HOLDS_AT_C, 0),
        cautions=tuple(salt.caution for salt in SALTS.values() if salt.caution),
        limits=shop.units.said(
            f"It counts as settled when humidity moves by less than {MOST_SLOPE_PCT_H:g} %RH an hour and "
            f"temperature stays within {MOST_TEMP_RANGE_K:g} K over {WINDOW_MS // (60 * MINUTE_MS)} h."
        ),
        read_jars=tuple(
            JarChoice(jar.id, _jar_words(shop, jar, point)) for jar, point in offered_jars(parts, place, node)
        ),
        compared=(("temperature", f"Temperature, {shop.units.temp_sign}"), ("humidity", "Humidity, %RH")),
        usual_error=(
            f"{shop.units.step(REFERENCE_ERRORS['temperature']):.1g} {shop.units.temp_sign} "
            f"or {REFERENCE_ERRORS['humidity']:g} %RH"
        ),
        sinces=SINCE,
        done=tuple(_line(shop, one) for one in reversed(made)),
    )


def since_said(parts: Parts, word: str) -> Millis:
    """The time from which on a calibration holds [ms], by one of the words of `SINCE`.

    >>> since_said(None, "all")  # type: ignore[arg-type]
    0
    """
    return 0 if word == "all" else parts.clock.now() - int(word) * DAY_MS


def as_typed(units: Units, quantity: CalibratedQuantity, point: SaidPoint) -> SaidPoint:
    """A point that was typed in the shop's unit, in °C or %RH."""
    if quantity != "temperature":
        return point
    right, said, error = point.right, point.said, point.error
    return replace(
        point,
        right=None if right is None else units.temp_c(right),
        said=None if said is None else units.temp_c(said),
        error=None if error is None else units.kelvin(error),
    )


def _jar(parts: Parts, shop: Shop, jar: Jar, state: Settling) -> JarView:
    since = max(jar.begun, shop.now - SHOWN_MS)
    said = node_said(parts, jar.place, jar.node, since, shop.now + 1)
    now = ""
    if state.humidity_pct is not None and state.temp_c is not None and state.slope_pct_h is not None:
        now = (
            f"{state.humidity_pct:.1f} %RH at {shop.units.temp_words(state.temp_c)}, "
            f"moving by {_signed(state.slope_pct_h, 2)} %RH an hour"
        )
    return JarView(
        salt=SALTS[jar.salt].name,
        begun=f"{clock_words(jar.begun, shop.now, shop.zone)}, {duration_words(shop.now - jar.begun)} ago",
        now=now,
        state="Settled." if state.settled else shop.units.said(f"Not settled: {state.why_not}."),
        settled=state.settled,
        chart=Markup(_chart(said, since, shop)),
    )


def _chart(said: Sequence[Reading], since: Millis, shop: Shop) -> str:
    lines = {
        name: [(one.time, read(one.value)) for one in said if one.name == name]
        for name, read in (("humidity", float), ("temperature", shop.units.temp))
    }
    if len(lines["humidity"]) < 2:
        return ""
    axis = TimeAxis(since, max(shop.now, since + MINUTE_MS), LEFT, RIGHT, shop.zone)
    body: list[str] = []
    bottom = -14.0
    for strip in (
        Strip("In the jar, as the node says it", "%RH", 5.0, (Line(lines["humidity"]),)),
        Strip("Temperature there", shop.units.temp_sign, 1.0, (Line(lines["temperature"]),)),
    ):
        body += strip_svg(strip, axis, bottom + GAP)
        bottom += GAP + HEIGHT
    return svg(bottom + 26, "Humidity and temperature in the jar", [*body, *time_labels(axis, bottom)])


def _jar_words(shop: Shop, jar: Jar, point: KeptPoint) -> str:
    return shop.units.said(
        f"{SALTS[jar.salt].name}, {jar.temp_c:.1f} °C: said {point.said:.1f} %RH, "
        f"right is {point.right:.1f} ± {point.error:.1f} %RH ({clock_words(point.at, shop.now, shop.zone)})"
    )


def _line(shop: Shop, made: Calibration) -> CalibrationLine:
    units, quantity = shop.units, made.quantity
    of_air = quantity == "humidity"
    sign, step_sign = ("%RH", "%RH") if of_air else (units.temp_sign, units.step_sign)

    def read(value: float) -> float:
        return value if of_air else units.temp(value)

    def step(value: float) -> float:
        return value if of_air else units.step(value)

    # The same line between values as they are read: where the unit's zero lies elsewhere, so does its shift.
    shift = made.shift if of_air else units.temp(made.slope * units.temp_c(0.0) + made.shift)
    scale = "" if made.slope == 1.0 else f" × {made.slope:.3f}"
    what = f"{quantity.capitalize()}{scale} {_signed(shift, 1)} {step_sign}"
    low, high = map(read, held_between(quantity, [point.said for point in made.points]))
    points = "; ".join(
        f"said {read(point.said):.1f}, right {read(point.right):.1f} ± {step(point.error):.1f} {sign}"
        + (f" over {SALTS[point.salt].name}" if point.salt else "")
        for point in made.points
    )
    miss = (
        "too few points for a residual"
        if made.residual is None
        else f"residual {step(made.residual):.1f} {step_sign}"
    )
    holds = f"holds where it says {low:.0f} to {high:.0f} {sign}"
    since = "its first reading" if made.from_ms == 0 else clock_words(made.from_ms, shop.now, shop.zone)
    when = f"made {date_words(made.said_ms, shop)}, from {since} on"
    undo = f"{address_of(made.place, made.node)}/{made.id}/undo"
    if made.undone_at is not None:
        when, undo = f"{when}; taken back {date_words(made.undone_at, shop)}", ""
    return CalibrationLine(what, f"{points}; {miss}; {holds}", when, undo)


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}f}".replace("-", "−")


def date_words(moment: Millis, shop: Shop) -> str:
    """A day, as a person writes it."""
    return f"{datetime.fromtimestamp(moment / SECOND_MS, shop.zone):%-d %B %Y}"
