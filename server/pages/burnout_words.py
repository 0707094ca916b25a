"""How a coat went, what is left in a shell and what it weighs, in the words of the check's page and sheet."""

from datetime import datetime

from sensors.clock import HOUR_MS, MINUTE_MS, SECOND_MS, Millis
from server.burnout import SpotWater
from server.burnout_check import BurnoutCheck, CoatWent
from server.drying.warnings import CoatClimate
from server.pages.burnout_contexts import CoatLine
from server.pages.frame import Shop
from server.pages.wording import at_words, duration_words, per_cent
from server.verdicts import CoatVerdict


def moment_words(moment: Millis, shop: Shop) -> str:
    """A time with its date, as it is to be read on paper a year later."""
    local = datetime.fromtimestamp(moment / SECOND_MS, shop.zone)
    return f"{local.day} {local:%b %Y %H:%M}"


def water_words(spot: SpotWater) -> str:
    """The water of the whole shell at a spot against its limit.

    >>> water_words(SpotWater("face", "body", 0.0012, 0.001, 0.005))
    '0.12 % of its dry mass over what 60 %RH leaves, limit 0.5 %'
    >>> water_words(SpotWater("face", "body", None, None, 0.005))
    'not known'
    """
    if spot.packed:
        return "cannot be known: it is packed with core material"
    if spot.over_dry is None:
        return "not known"
    over = "no more than" if spot.over_dry <= 0.0 else f"{per_cent(spot.over_dry)} of its dry mass over"
    return f"{over} what 60 %RH leaves, limit {per_cent(spot.limit)}"


def figure_lines(check: BurnoutCheck, shop: Shop) -> list[str]:
    """The rest so far, thickness and weight by the model and by the scale, and the weighings."""
    figures = check.figures
    lines = [f"Rest in fit air: {check.rested / HOUR_MS:.0f} of {check.rest / HOUR_MS:.0f} h."]
    if check.last_at is not None:
        lines.append(f"The last coat or patch went on {moment_words(check.last_at, shop)}.")
    by_model = f"By the model the shell is {figures.thickness_mm:.1f} mm thick"
    by_model += "" if figures.mass_kg is None else f" and {figures.mass_kg:.2f} kg when dry"
    if figures.water_kg is not None:
        by_model += f", with {1000.0 * max(figures.water_kg, 0.0):.0f} g of water beyond that of 60 %RH"
    lines.append(f"{by_model}.")
    if figures.scale_kg is not None:
        by_scale = f"By the scale it is {figures.scale_kg:.2f} kg"
        by_scale += "" if figures.scale_mm is None else f", which would be {figures.scale_mm:.1f} mm"
        lines.append(f"{by_scale}.")
    if figures.missing:
        lines.append(figures.missing)
    if check.weighings:
        newest = check.weighings[-3:]
        told = "; ".join(f"{one.kg:.3f} kg {moment_words(one.at, shop)}" for one in newest)
        lines.append(f"Weighed: {told}.")
    return lines


def coat_line(went: CoatWent, shop: Shop) -> CoatLine:
    """A coat as it went, each thing a line of its own; what is not known is left out or said so."""
    coat, said = went.verdict, shop.units.said
    kind = f"Patch {at_words(coat.patch)}" if coat.patch else f"{coat.number} {coat.kind}"
    ways = ", ".join(
        words for words, is_so in (("pre-wetted", went.prewet), ("only a part dipped", went.partial)) if is_so
    )
    pot = f"pot {coat.pot}" if coat.pot else ""
    dipped = " · ".join(filter(None, (moment_words(coat.dipped_at, shop), pot, ways, _took(coat, went))))
    return CoatLine(
        what=kind,
        dipped=dipped,
        air=said(_air(coat.climate)),
        left=_left(coat),
        extremes=said(_extremes(coat.climate)),
        told=" · ".join(filter(None, (coat.note or "", _written(went, shop), went.later))),
        warnings=tuple(said(words) for words in coat.warnings),
    )


def _took(coat: CoatVerdict, went: CoatWent) -> str:
    fit_at = coat.fit_at.p90
    if fit_at is not None and (went.until is None or fit_at <= went.until):
        after = "fit at once" if fit_at - coat.dipped_at < MINUTE_MS else _after(fit_at - coat.dipped_at)
        return after if coat.slowest_name is None else f"{after}, last {at_words(coat.slowest_name)}"
    if went.until is None:
        return ""
    later = duration_words(went.until - coat.dipped_at).removeprefix("about ")
    return f"not fit when the next came {later} later"


def _after(millis: Millis) -> str:
    return f"fit after {duration_words(millis).removeprefix('about ')}"


def _air(seen: CoatClimate) -> str:
    if seen.temp_mean_c is None or seen.rh_mean_pct is None:
        return "air while drying not known"
    temp = f"{seen.temp_mean_c:.0f} °C ({seen.air_low_c:.0f} to {seen.air_high_c:.0f} °C)"
    rh = f"{seen.rh_mean_pct:.0f} %RH ({seen.rh_low_pct:.0f} to {seen.rh_high_pct:.0f})"
    return f"air {temp}, {rh}"


def _extremes(seen: CoatClimate) -> str:
    if seen.coldest_c is None or seen.warmest_c is None:
        return ""
    return f"wax down to {seen.coldest_c:.0f} °C, shell up to {seen.warmest_c:.0f} °C"


def _left(coat: CoatVerdict) -> str:
    if not coat.left_at_next:
        return "" if coat.damp_at_next is None else f"left at the next dip: {per_cent(coat.damp_at_next)}"
    told = ", ".join(f"{name} {per_cent(max(left, 0.0))}" for name, left in coat.left_at_next)
    return f"left at the next dip: {told}"


def _written(went: CoatWent, shop: Shop) -> str:
    return "" if went.kept_at is None else f"judged so {moment_words(went.kept_at, shop)}"
