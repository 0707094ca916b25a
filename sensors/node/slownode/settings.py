"""The node's settings file, checked before anything is begun. Pure."""

import json

DEFAULTS = {
    "broker_port": 1883,
    "tls": False,
    "hook": "",
    "every_s": 60,
    "send_every": 1,
    "keep": 1500,
    "time_server": "",
    "pins": {},
    "load_cell": None,
    "thermistor": None,
    "battery_divider": None,
}
NEEDED = ("wifi_name", "wifi_password", "broker", "place", "node")
TEXTS = NEEDED + ("hook", "user", "password", "time_server", "ca_file")
LIMITS = {
    "broker_port": (1, 65535),
    "every_s": (10, 3600),
    "send_every": (1, 60),
    "keep": (60, 20000),
    "battery_divider": (1, 50),
}
PLACEHOLDERS = ("change-me", "password", "secret")
SLUG = "abcdefghijklmnopqrstuvwxyz0123456789-_"


class SettingsError(Exception):
    """A setting that cannot be: the text names it, the value and the limit."""


def read(source):
    """The settings from the text of `settings.json`, with what is usual where nothing is said.

    >>> needed = '"wifi_name":"w","wifi_password":"p1","broker":"10.0.0.2","place":"loft","node":"n1"'
    >>> read("{" + needed + "}")["every_s"]
    60
    """
    try:
        said = json.loads(source)
    except ValueError:
        raise SettingsError("settings.json is no JSON: look for a missing comma or quote")
    if not isinstance(said, dict):
        raise SettingsError("settings.json is a list of names with values, between { and }")
    for name in NEEDED:
        if not said.get(name):
            raise SettingsError("settings.json says no %s" % name)
    known = set(DEFAULTS) | set(TEXTS)
    for name in said:
        if name not in known:
            raise SettingsError("settings.json says %s, which is no setting" % name)
    found = dict(DEFAULTS)
    found.update({"user": None, "password": None, "ca_file": None})
    found.update(said)
    for name in TEXTS:
        if found[name] is not None and not isinstance(found[name], str):
            raise SettingsError("%s is a text in quotes" % name)
    for name in ("place", "node"):
        value = found[name]
        if not 1 <= len(value) <= 64 or any(sign not in SLUG for sign in value):
            raise SettingsError('%s "%s" is not 1 to 64 of a-z, 0-9, - and _' % (name, value))
    if found["place"] == "rack":
        raise SettingsError('place "rack" is a name the service keeps for itself')
    if found["password"] is not None and found["password"].lower() in PLACEHOLDERS:
        raise SettingsError("password is still a placeholder: make one with slowcorner node-password")
    for name, (least, most) in LIMITS.items():
        value = found[name]
        if value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not least <= value <= most:
            raise SettingsError("%s %s is not from %s to %s" % (name, value, least, most))
    if not isinstance(found["tls"], bool):
        raise SettingsError("tls is true or false, without quotes")
    _check_parts(found)
    return found


def _check_parts(found):
    for name, needed in (
        ("load_cell", ("zero", "counts_per_kg")),
        ("thermistor", ("fixed_ohm", "ohm_25", "beta")),
    ):
        part = found[name]
        if part is None:
            continue
        for figure in needed:
            value = part.get(figure) if isinstance(part, dict) else None
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                raise SettingsError("%s says no %s" % (name, figure))
        for figure in needed[1:] if name == "load_cell" else needed:
            if part[figure] == 0 or (name == "thermistor" and part[figure] < 0):
                raise SettingsError("%s %s is %s" % (name, figure, part[figure]))
    if not isinstance(found["pins"], dict):
        raise SettingsError('pins are names with numbers, such as {"sda": 8}')
    for name, pin in found["pins"].items():
        if isinstance(pin, bool) or not isinstance(pin, int) or not 0 <= pin <= 60:
            raise SettingsError("pin %s %s is not from 0 to 60" % (name, pin))
