"""Moist air: what temperature and relative humidity say of the vapour, and how air carries heat and vapour.

The convention is the ideal gas of ASHRAE Handbook Fundamentals (2017), chapter 1, as psychrolib uses it: the
vapour pressure is the relative humidity times the saturation pressure (Hyland and Wexler 1983), over ice
below the triple point and over water above. A real gas has 0.4 to 0.5 % more vapour; no enhancement factor
is used.

Every function takes floats or arrays, which broadcast against each other, and returns an array of float64
(of no dimensions for floats; `float()` makes it one). Temperatures are −40 to 90 °C, relative humidities 0 to
100 %; anything else, NaN too, raises ValueError naming the value and the limits.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

STANDARD_PRESSURE_PA = 101325.0
LOWEST_TEMP_C = -40.0
HIGHEST_TEMP_C = 90.0

ZERO_C_IN_K = 273.15
TRIPLE_POINT_C = 0.01
VAPOUR_TO_AIR_MASS = 0.621945
"""Molar mass of water over that of dry air [-] (ASHRAE 2017)."""
DRY_AIR_GAS_J_KGK = 287.042
VAPOUR_GAS_J_KGK = DRY_AIR_GAS_J_KGK / VAPOUR_TO_AIR_MASS

_COLDEST_DEW_C = -100.0
_DRIEST_RATIO = 1e-7
_HALVINGS = 48


def _within(name: str, unit: str, value: ArrayLike, lowest: float, highest: float) -> Floats:
    """The value as an array, or ValueError with the first value that is outside the limits."""
    values = np.asarray(value, dtype=np.float64)
    inside = (values >= lowest) & (values <= highest)
    if not inside.all():
        worst = float(values[~inside].flat[0])
        raise ValueError(f"{name} {worst:g} {unit} is outside {lowest:g} to {highest:g} {unit}")
    return values


def _temperature(temp_c: ArrayLike) -> Floats:
    return _within("temperature", "°C", temp_c, LOWEST_TEMP_C, HIGHEST_TEMP_C)


def _saturation(temp_c: Floats) -> Floats:
    """Saturation pressure [Pa] at −100 to 200 °C, unchecked (ASHRAE 2017, chapter 1, equations 5 and 6)."""
    kelvin = temp_c + ZERO_C_IN_K
    log_kelvin = np.log(kelvin)
    over_water = (
        -5.8002206e3 / kelvin
        + 1.3914993
        + kelvin * (-4.8640239e-2 + kelvin * (4.1764768e-5 - 1.4452093e-8 * kelvin))
        + 6.5459673 * log_kelvin
    )
    freezing = temp_c <= TRIPLE_POINT_C
    if not freezing.any():
        return np.asarray(np.exp(over_water))
    over_ice = (
        -5.6745359e3 / kelvin
        + 6.3925247
        + kelvin * (-9.677843e-3 + kelvin * (6.2215701e-7 + kelvin * (2.0747825e-9 - 9.484024e-13 * kelvin)))
        + 4.1635019 * log_kelvin
    )
    return np.asarray(np.exp(np.where(freezing, over_ice, over_water)))


def saturation_pressure_pa(temp_c: ArrayLike) -> Floats:
    """Vapour pressure of saturated air [Pa], over ice below 0.01 °C.

    >>> round(float(saturation_pressure_pa(25.0)), 1)
    3169.2
    """
    return _saturation(_temperature(temp_c))


def vapour_pressure_pa(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Partial pressure of the water vapour [Pa].

    >>> round(float(vapour_pressure_pa(20.7, 45.0)), 1)
    1099.0
    """
    humidity = _within("relative humidity", "%", rh_pct, 0.0, 100.0)
    return np.asarray(humidity / 100.0 * saturation_pressure_pa(temp_c))


def vapour_density_kg_m3(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Water vapour in a cubic metre of air [kg/m³].

    >>> round(float(vapour_density_kg_m3(20.7, 45.0)), 6)
    0.008103
    """
    pressure = vapour_pressure_pa(temp_c, rh_pct)
    return np.asarray(pressure / (VAPOUR_GAS_J_KGK * (_temperature(temp_c) + ZERO_C_IN_K)))


def saturation_density_kg_m3(temp_c: ArrayLike) -> Floats:
    """Water vapour in a cubic metre of saturated air [kg/m³].

    >>> round(float(saturation_density_kg_m3(20.7)), 5)
    0.01801
    """
    temp = _temperature(temp_c)
    return np.asarray(_saturation(temp) / (VAPOUR_GAS_J_KGK * (temp + ZERO_C_IN_K)))


def relative_humidity_pct(temp_c: ArrayLike, vapour_pressure_pa: ArrayLike) -> Floats:
    """Relative humidity [%] of air that holds vapour at that partial pressure [Pa].

    More than saturation gives more than 100: what becomes of the surplus is the caller's to say.

    >>> round(float(relative_humidity_pct(20.7, 1099.0)), 1)
    45.0
    """
    vapour = _within("vapour pressure", "Pa", vapour_pressure_pa, 0.0, np.inf)
    return np.asarray(100.0 * vapour / saturation_pressure_pa(temp_c))


def humidity_ratio(
    temp_c: ArrayLike, rh_pct: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Floats:
    """Vapour in a kilogram of dry air [kg/kg], at an air pressure of 60 to 110 kPa.

    Raises ValueError also where water at that temperature would boil at that pressure.

    >>> round(float(humidity_ratio(25.0, 50.0)), 6)
    0.009881
    """
    pressure = _air_pressure(temp_c, pressure_pa)
    vapour = vapour_pressure_pa(temp_c, rh_pct)
    return np.asarray(VAPOUR_TO_AIR_MASS * vapour / (pressure - vapour))


def _air_pressure(temp_c: ArrayLike, pressure_pa: ArrayLike) -> Floats:
    pressure = _within("air pressure", "Pa", pressure_pa, 60e3, 110e3)
    if not (saturation_pressure_pa(temp_c) < pressure).all():
        raise ValueError(
            f"temperature {np.max(temp_c):g} °C is above the boiling point at {np.min(pressure):g} Pa"
        )
    return pressure


def dew_point_c(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Temperature at which the air's vapour would be saturated [°C]; below 0.01 °C that is the frost point.

    −inf where it is below −100 °C, the end of the saturation curve: at 0 % there is no dew point.

    >>> round(float(dew_point_c(25.0, 50.0)), 3)
    13.864
    """
    temp, vapour = np.broadcast_arrays(_temperature(temp_c), vapour_pressure_pa(temp_c, rh_pct))
    dew = _dew_point(temp, vapour)
    return np.asarray(np.where(vapour < _saturation(np.asarray(_COLDEST_DEW_C)), -np.inf, dew))


def _dew_point(temp_c: Floats, vapour_pa: Floats) -> Floats:
    """The saturation curve turned round by halving, between −100 °C and the air's temperature."""
    low = np.full(temp_c.shape, _COLDEST_DEW_C)
    high = np.array(temp_c, dtype=np.float64)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = _saturation(middle) > vapour_pa
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return np.asarray(0.5 * (low + high))


def wet_bulb_c(temp_c: ArrayLike, rh_pct: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Floats:
    """Thermodynamic wet bulb [°C]: where water would cool to that evaporates into the air adiabatically.

    ASHRAE 2017, chapter 1, equations 33 and 35, solved by halving between dew point and temperature. Below
    0 °C the bulb is iced; water and ice differ there, so that a narrow band of air just about 0 °C has two
    answers, of which the halving picks one, always the same.

    >>> round(float(wet_bulb_c(20.7, 45.0)), 2)
    13.64
    """
    ratio = np.maximum(humidity_ratio(temp_c, rh_pct, pressure_pa), _DRIEST_RATIO)
    temp, pressure, ratio = np.broadcast_arrays(
        _temperature(temp_c), np.asarray(pressure_pa, dtype=np.float64), ratio
    )
    low = _dew_point(temp, pressure * ratio / (VAPOUR_TO_AIR_MASS + ratio))
    high = np.array(temp, dtype=np.float64)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        above = _ratio_from_wet_bulb(temp, middle, pressure) > ratio
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return np.asarray(0.5 * (low + high))


def _ratio_from_wet_bulb(temp_c: Floats, bulb_c: Floats, pressure_pa: Floats) -> Floats:
    saturated = _saturation(bulb_c)
    saturated = VAPOUR_TO_AIR_MASS * saturated / (pressure_pa - saturated)
    cooling = 1.006 * (temp_c - bulb_c)
    wet = ((2501.0 - 2.326 * bulb_c) * saturated - cooling) / (2501.0 + 1.86 * temp_c - 4.186 * bulb_c)
    iced = ((2830.0 - 0.24 * bulb_c) * saturated - cooling) / (2830.0 + 1.86 * temp_c - 2.1 * bulb_c)
    return np.asarray(np.where(bulb_c >= 0.0, wet, iced))


def latent_heat_j_kg(temp_c: ArrayLike) -> Floats:
    """Heat that evaporates a kilogram of liquid water [J/kg]: 2501 − 2.326 T kJ/kg.

    From the enthalpies of ASHRAE 2017, chapter 1, so that it agrees with the wet bulb; below 0 °C it is for
    water that has not frozen. Within 0.1 % of the real value up to 50 °C, 0.5 % up to 90 °C.

    >>> float(latent_heat_j_kg(0.0))
    2501000.0
    """
    return np.asarray((2501.0 - 2.326 * _temperature(temp_c)) * 1e3)


def vapour_diffusivity_m2_s(temp_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Floats:
    """How fast water vapour spreads through still air [m²/s]: 0.2178e-4 (T/273.15)^1.81 (101 325 Pa)/p.

    Massman, Atmospheric Environment 32 (1998) 1111.

    >>> f"{float(vapour_diffusivity_m2_s(22.0)):.3e}"
    '2.506e-05'
    """
    at_sea_level = 0.2178e-4 * ((_temperature(temp_c) + ZERO_C_IN_K) / ZERO_C_IN_K) ** 1.81
    return np.asarray(at_sea_level * (STANDARD_PRESSURE_PA / np.asarray(pressure_pa)))


def air_density_kg_m3(
    temp_c: ArrayLike, rh_pct: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA
) -> Floats:
    """Density of moist air, vapour included [kg/m³], at an air pressure of 60 to 110 kPa.

    >>> round(float(air_density_kg_m3(20.7, 45.0)), 4)
    1.1964
    """
    pressure = _air_pressure(temp_c, pressure_pa)
    vapour = vapour_pressure_pa(temp_c, rh_pct)
    kelvin = _temperature(temp_c) + ZERO_C_IN_K
    return np.asarray(
        (pressure - vapour) / (DRY_AIR_GAS_J_KGK * kelvin) + vapour / (VAPOUR_GAS_J_KGK * kelvin)
    )


def standard_pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere that high above the sea [Pa] (ASHRAE 2017, chapter 1, equation 3).

    Raises ValueError outside −5000 to 11 000 m, the equation's own range.

    >>> round(standard_pressure_pa(1500.0))
    84556
    """
    height = _within("altitude", "m", altitude_m, -5000.0, 11000.0)
    return STANDARD_PRESSURE_PA * float((1.0 - 2.25577e-5 * height) ** 5.2559)


def air_viscosity_m2_s(temp_c: ArrayLike, pressure_pa: ArrayLike = STANDARD_PRESSURE_PA) -> Floats:
    """Kinematic viscosity of dry air [m²/s]: Sutherland's formula over the ideal-gas density.

    Constants 1.716e-5 Pa s at 273.15 K and 110.4 K, as in White, Viscous Fluid Flow.

    >>> f"{float(air_viscosity_m2_s(20.0)):.3e}"
    '1.506e-05'
    """
    kelvin = _temperature(temp_c) + ZERO_C_IN_K
    dynamic = 1.716e-5 * (kelvin / 273.15) ** 1.5 * (273.15 + 110.4) / (kelvin + 110.4)
    return np.asarray(dynamic * DRY_AIR_GAS_J_KGK * kelvin / np.asarray(pressure_pa))


def air_conductivity_w_mk(temp_c: ArrayLike) -> Floats:
    """Thermal conductivity of dry air [W/(m K)]: Sutherland's form.

    Constants 0.0241 W/(m K) at 273 K and 194 K, as in White, Viscous Fluid Flow.

    >>> round(float(air_conductivity_w_mk(20.0)), 4)
    0.0257
    """
    kelvin = _temperature(temp_c) + ZERO_C_IN_K
    return np.asarray(0.0241 * (kelvin / 273.0) ** 1.5 * (273.0 + 194.0) / (kelvin + 194.0))
