"""The page of being told: quiet hours, what is told, other channels, and what did not get through."""

from collections.abc import Collection
from dataclasses import dataclass

from scheduler.telling import MOST_GATHER_MIN
from sensors.clock import DAY_MS, Millis
from server.pages.contexts import Frame
from server.pages.frame import Shop, frame, shop_now
from server.pages.told_words import undelivered_words
from server.pages.wording import clock_words
from server.parts import Parts
from server.phone.other_channels import MISSING, installed, masked
from server.store import held_notices, notices, put_off, subscriptions
from server.store.values import Undelivered
from server.telling import (
    LEAST_CALIBRATION_DAYS,
    MOST_CALIBRATION_DAYS,
    SWITCHES,
    calibration_ms,
    gather_minutes,
    telling,
)

UNDELIVERED_SHOWN = 20


@dataclass(frozen=True)
class CauseRow:
    """A cause that is told or not: its code, its name, what it is, and whether it is told."""

    code: str
    name: str
    does: str
    on: bool


@dataclass(frozen=True)
class ChannelRow:
    """Another channel: its number, its name, and its address with the secrets as stars."""

    id: int
    name: str
    address: str


@dataclass(frozen=True)
class WholeField:
    """A field for a whole number, within its limits."""

    value: str
    least: str
    most: str


@dataclass(frozen=True)
class ToldPage:
    """How the shop is told. `said` is what was just done, `fault` what could not be; `now` how it stands."""

    frame: Frame
    said: str
    fault: str
    now: str
    quiet_from: str
    quiet_until: str
    gather: WholeField
    calibration: WholeField
    causes: tuple[CauseRow, ...]
    phones: str
    channels: tuple[ChannelRow, ...]
    missing: str
    put_off: tuple[str, ...]
    undelivered: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class ToldForm:
    """What was typed into the form, to be shown again where something in it could not be."""

    quiet_from: str
    quiet_until: str
    gather_min: str
    calibration_days: str
    on: Collection[str]


def told_page(parts: Parts, said: str = "", fault: str = "", typed: ToldForm | None = None) -> ToldPage:
    """The page."""
    shop = shop_now(parts)
    rules = telling(parts.engine, shop.now)
    form = typed or ToldForm(
        f"{rules.quiet.begins:%H:%M}",
        f"{rules.quiet.ends:%H:%M}",
        f"{gather_minutes(parts.engine)}",
        f"{calibration_ms(parts.engine) // DAY_MS}",
        rules.on,
    )
    return ToldPage(
        frame=frame(parts, shop, "Being told", "shop"),
        said=said,
        fault=fault.rstrip("."),
        now=_now(parts, shop, rules.quiet.ends_after(shop.now)),
        quiet_from=form.quiet_from,
        quiet_until=form.quiet_until,
        gather=WholeField(form.gather_min, "0", f"{MOST_GATHER_MIN}"),
        calibration=WholeField(
            form.calibration_days, f"{LEAST_CALIBRATION_DAYS}", f"{MOST_CALIBRATION_DAYS}"
        ),
        causes=tuple(CauseRow(one.code, one.name, one.does, one.code in form.on) for one in SWITCHES),
        phones=_phones(len(subscriptions.subscriptions(parts.engine))),
        channels=tuple(
            ChannelRow(one.id, one.name, masked(one.endpoint)) for one in subscriptions.channels(parts.engine)
        ),
        missing="" if installed() else MISSING,
        put_off=_put_off(parts, shop),
        undelivered=tuple(
            (one.title, _state_word(one), undelivered_words(one, _wall_words(parts, shop, one.at)))
            for one in notices.undelivered(parts.engine, UNDELIVERED_SHOWN)
        ),
    )


def _now(parts: Parts, shop: Shop, quiet_until: Millis | None) -> str:
    """How it stands at the moment."""
    held = len(held_notices.held(parts.engine))
    kept = f"{held} notice{'s are' if held != 1 else ' is'} held" if held else "nothing is held"
    if quiet_until is None:
        return f"Not quiet now; {kept}."
    return f"Quiet now, until {clock_words(quiet_until, shop.now, shop.zone)}; {kept}."


def _phones(count: int) -> str:
    if not count:
        return "No phone is told yet."
    return "1 phone is told." if count == 1 else f"{count} phones are told."


def _put_off(parts: Parts, shop: Shop) -> tuple[str, ...]:
    """The reminders that are still to come, the next one first."""
    labels = {outlook.tree_id: outlook for outlook in parts.rack.outlooks()}
    coming = sorted(put_off.put_offs(parts.engine).values(), key=lambda one: (one.until, one.id))
    return tuple(
        f"{labels[one.tree_id].label}: until {clock_words(one.until, shop.now, shop.zone)}"
        for one in coming
        if one.until > shop.now and one.tree_id in labels and labels[one.tree_id].dipped_at == one.dipped_at
    )


def _state_word(one: Undelivered) -> str:
    return {"waiting": "Waiting", "sending": "Not known", "failed": "Failed"}.get(one.state, "Given up")


def _wall_words(parts: Parts, shop: Shop, moment: Millis | None) -> str:
    return "" if moment is None else clock_words(moment, parts.wall_clock(), shop.zone)
