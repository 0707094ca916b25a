"""From when on a shop is warned: a setting for each limit of the warnings."""

from server.drying.warning_limits import BOUNDS, DEFAULT_LIMITS
from server.shop_rules import LIMITS_SETTING
from server.shop_setting import Setting

_WARNED: tuple[tuple[str, str, str, str], ...] = (
    (
        "cooling_k",
        "Wax that cools under a prime coat",
        "K",
        "Warns from this fall of the wax under a drying prime coat on.",
    ),
    (
        "warming_k",
        "Wax that warms inside a set coat",
        "K",
        "Warns from this rise of the wax inside coats 1 to 3 on.",
    ),
    (
        "prewet_after_h",
        "A coat that has been dry for",
        "h",
        "Asks for pre-wetting before a dip on a coat that has been fit for so long.",
    ),
    *(
        (
            f"{coat}.{part}",
            f"{coat.capitalize()} coat: {words}",
            unit,
            f"Warns where the air a {coat} coat dries in is {beyond}.",
        )
        for coat in ("prime", "backup")
        for part, words, unit, beyond in (
            ("low_c", "coldest air", "°C", "colder"),
            ("high_c", "warmest air", "°C", "warmer"),
            ("rh_low_pct", "driest air", "%RH", "drier"),
            ("rh_high_pct", "dampest air", "%RH", "damper"),
            ("fastest_m_s", "fastest air", "m/s", "faster"),
        )
    ),
)


def _usual_limit(name: str) -> float:
    whole, _, part = name.partition(".")
    found = getattr(DEFAULT_LIMITS, whole)
    return float(getattr(found, part) if part else found)


WARNING_SETTINGS = tuple(
    Setting(
        f"{LIMITS_SETTING}.{name}",
        "Warnings",
        words,
        does,
        "number",
        f"{_usual_limit(name):g}",
        unit,
        *BOUNDS[name.rpartition(".")[2]],
    )
    for name, words, unit, does in _WARNED
)
