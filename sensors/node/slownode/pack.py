"""Readings as a SenML pack in JSON (RFC 8428), and what a button says. Pure.

Written by hand: the order of a dictionary is not kept by every MicroPython, and a pack is read by its order.
"""

NAMES = (("temperature", "Cel"), ("humidity", "%RH"), ("mass", "kg"), ("surface", "Cel"), ("battery", "V"))
"""The quantities in the order of a record's values."""


def pack(place, node, readings, now=None):
    """A pack of readings, each (time, values): values in the order of NAMES, None where there is none.

    time: seconds since 1970; or, where `now` is given, seconds of a clock of one's own that stands at `now`,
    and then times go out relative to the moment of sending (RFC 8428, 4.5.3).

    >>> print(pack("loft", "n1", [(1772431200, (21.5, 50.0, None, None, None))]).decode())
    [{"bn":"loft/n1/","bt":1772431200,"n":"temperature","u":"Cel","v":21.5},{"n":"humidity","u":"%RH","v":50}]
    >>> print(pack("loft", "n1", [(5, (None, 50.25, None, None, None))], now=65).decode())
    [{"bn":"loft/n1/","n":"humidity","u":"%RH","v":50.25,"t":-60}]
    """
    records = []
    base = readings[0][0] if readings and now is None else None
    for time, values in readings:
        offset = time - now if now is not None else time - base
        for (name, unit), value in zip(NAMES, values):
            if value is None:
                continue
            record = '"n":"%s","u":"%s","v":%s' % (name, unit, number(value))
            if offset:
                record += ',"t":%d' % offset
            if not records:
                first = '"bn":"%s/%s/",' % (place, node)
                record = first + ('"bt":%d,' % base if base is not None else "") + record
            records.append("{" + record + "}")
    return ("[" + ",".join(records) + "]").encode()


def number(value):
    """A figure with up to four digits behind the point, and no zeros that say nothing.

    >>> number(21.5), number(-3.0), number(0.12345)
    ('21.5', '-3', '0.1235')
    """
    text = "%.4f" % value
    text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def press(hook, identity, time=None):
    """What a button says: the next coat of the tree on that hook is on.

    >>> print(press("A3", "n1-17", 1772431200).decode())
    {"hook":"A3","id":"n1-17","t":1772431200}
    """
    when = "" if time is None else ',"t":%d' % time
    return ('{"hook":"%s","id":"%s"%s}' % (hook, identity, when)).encode()
