"""What raw figures of sensors mean. Pure: runs under MicroPython and CPython alike.

Humidity sensor: the formulas and the check sum that data sheets of the usual digital I2C kind publish
(two 16-bit words, each followed by a CRC-8 of polynomial 0x31 and start 0xFF; 0xBE 0xEF gives 0x92).
"""

import math

ZERO_C_IN_K = 273.15
ROOM_K = 298.15


class SensorError(Exception):
    """A sensor said something that cannot be."""


def crc8(data):
    """The sensor's check sum over bytes.

    >>> hex(crc8(bytes((0xBE, 0xEF))))
    '0x92'
    """
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = ((crc << 1) ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc


def air(six):
    """Temperature [C] and relative humidity [%RH] from the six bytes of a measurement.

    Raises SensorError where a check sum is wrong or there are not six.

    >>> air(bytes((0x66, 0x66, crc8(b"ff"), 0x80, 0x00, crc8(bytes((0x80, 0)))))) == (25.0, 56.501)
    True
    """
    if len(six) != 6:
        raise SensorError("the sensor said %d bytes, not 6" % len(six))
    for at in (0, 3):
        if crc8(six[at : at + 2]) != six[at + 2]:
            raise SensorError("the sensor's check sum is wrong: a loose or too long wire")
    temp = -45.0 + 175.0 * (six[0] << 8 | six[1]) / 65535.0
    humidity = -6.0 + 125.0 * (six[3] << 8 | six[4]) / 65535.0
    return round(temp, 3), round(min(max(humidity, 0.0), 100.0), 3)


def load_kg(raw, zero, counts_per_kg):
    """Mass on a hook [kg] from 24 bits of a load-cell amplifier in two's complement.

    >>> load_kg(0xFFFF38, 0, 100.0), load_kg(1500, 500, 1000.0)
    (-2.0, 1.0)
    """
    if not 0 <= raw < 1 << 24:
        raise SensorError("the load cell said %d, which is no 24-bit figure" % raw)
    if raw in (0x7FFFFF, 0x800000):
        raise SensorError("the load cell is at its end: overloaded, or a wire is off")
    signed = raw - (1 << 24) if raw & 0x800000 else raw
    return round((signed - zero) / counts_per_kg, 4)


def thermistor_c(share, fixed_ohm, ohm_25, beta):
    """Temperature [C] of a thermistor to ground under a fixed resistor, by the beta formula.

    share: its voltage over the whole [-]. ohm_25: its resistance at 25 C. Raises SensorError where a wire is
    off or shorted.

    >>> thermistor_c(0.5, 10000.0, 10000.0, 3950.0)
    25.0
    """
    if not 0.02 < share < 0.98:
        raise SensorError("the surface sensor reads %.3f of its supply: a wire is off or shorted" % share)
    ohm = fixed_ohm * share / (1.0 - share)
    kelvin = 1.0 / (1.0 / ROOM_K + math.log(ohm / ohm_25) / beta)
    return round(kelvin - ZERO_C_IN_K, 2)


def battery_v(microvolts, divider):
    """Voltage of the battery [V] from that at the pin [uV] behind a divider that takes it down so many times.

    >>> battery_v(1850000, 2.0)
    3.7
    """
    return round(microvolts * 1e-6 * divider, 3)
