"""One waking of a node: measure, keep, send what waits, say how long to sleep. Pure over its parts.

`parts` has
    measure()          the values in the order of `pack.NAMES`, None where there is none
    uptime()           seconds of a clock that goes on through sleep, from any beginning [s]
    wall()             seconds since 1970, None while no time server has answered since power came
    connect()          a Client, or raises OSError or MqttError
    set_clock()        asks a time server; whatever it raises is taken for "not now"
    pressed()          how often the button was pressed since the last waking
    alive()            tells the watchdog that all is well
    say(words)         a line for whoever looks on
and `memory` is a dictionary that lasts through sleep, but not through a power cut.
"""

from slownode import mqtt, pack
from slownode.client import WINDOW

IN_ONE_PACK = 20
LONGEST_WAIT = 16
"""After failures sending is tried at the 1st, 2nd, 4th ... and at every 16th waking."""


def wake(settings, parts, ring, memory):
    """Go through one waking; the seconds to sleep until the next."""
    began = parts.uptime()
    parts.alive()
    # What was kept by a clock of our own before power was cut has no time any more.
    memory.setdefault("first_number", ring.next_number)
    values = parts.measure()
    wall = parts.wall()
    if any(value is not None for value in values):
        ring.append(parts.uptime() if wall is None else wall, wall is not None, values)
    waiting = memory.setdefault("presses", [])
    for _ in range(parts.pressed()):
        memory["press_number"] = memory.get("press_number", 0) + 1
        # By our own clock, which goes on through sleep and may be set before the press is sent.
        waiting.append([memory["press_number"], parts.uptime()])
    memory["round"] = memory.get("round", 0) + 1
    due = memory["round"] >= memory.get("next_try", settings["send_every"])
    if due or memory["presses"]:
        _try_to_send(settings, parts, ring, memory)
    spent = parts.uptime() - began
    return max(1, settings["every_s"] - spent)


def _try_to_send(settings, parts, ring, memory):
    try:
        client = parts.connect()
    except (OSError, mqtt.MqttError) as error:
        _failed(settings, parts, memory, error)
        return
    try:
        try:
            parts.set_clock()
        except Exception as error:  # a shop may have no time server at all
            parts.say("no time: %s" % error)
        parts.alive()
        send(settings, parts, ring, memory, client)
        client.close()
        memory["failures"] = 0
        memory["round"] = 0
        memory["next_try"] = settings["send_every"]
    except (OSError, mqtt.MqttError) as error:
        try:
            client.close(politely=False)
        except OSError:
            pass
        _failed(settings, parts, memory, error)


def _failed(settings, parts, memory, error):
    failures = memory.get("failures", 0) + 1
    memory["failures"] = failures
    memory["round"] = 0
    memory["next_try"] = settings["send_every"] * min(1 << (failures - 1), LONGEST_WAIT)
    parts.say("not sent: %s; %s" % (error, "kept for the next time"))


def send(settings, parts, ring, memory, client):
    """Say that we are there, then the presses, then what waits, in order; each counts once it is stored."""
    root = "slowcorner/%s/%s/" % (settings["place"], settings["node"])
    client.publish_all([(root + "status", b"online", True)])
    presses = memory.get("presses", [])
    while presses:
        number, pressed = presses[0]
        wall = parts.wall()
        when = None if wall is None else wall - (parts.uptime() - pressed)
        identity = "%s-%s-%d" % (settings["node"], memory.get("boot", "x"), number)
        client.publish_all([(root + "dipped", pack.press(settings["hook"], identity, when), False)])
        presses.pop(0)
    while True:
        waiting = ring.pending(IN_ONE_PACK * WINDOW)
        if not waiting:
            return
        packs = _packs(settings, parts, waiting, memory)
        ends = [last for _, last in packs]
        messages = [(root + "senml", payload, False) for payload, _ in packs if payload is not None]
        if len(messages) < len(packs):
            parts.say("readings from before a power cut, with no time: let go")
        told = [last for payload, last in packs if payload is not None]
        client.publish_all(messages, lambda count, told=told: ring.sent(told[count - 1]))
        ring.sent(ends[-1])
        parts.alive()


def _packs(settings, parts, waiting, memory):
    """The readings in packs of one kind of time: (payload, the last number in it)."""
    packs = []
    since = memory.get("first_number", 0)
    at = 0
    while at < len(waiting):
        kind = _kind(waiting[at], since)
        end = at
        while end < len(waiting) and end - at < IN_ONE_PACK and _kind(waiting[end], since) == kind:
            end += 1
        readings = [(seconds, values) for _, seconds, _, values in waiting[at:end]]
        payload = None
        if kind == "wall":
            payload = pack.pack(settings["place"], settings["node"], readings)
        elif kind == "own":
            payload = pack.pack(settings["place"], settings["node"], readings, now=parts.uptime())
        packs.append((payload, waiting[end - 1][0]))
        at = end
    return packs


def _kind(record, since):
    """How a record's time is told: since 1970, by our own clock, or not at all any more."""
    if record[2]:
        return "wall"
    return "own" if record[0] >= since else "lost"
