"""What runs under MicroPython itself: the same firmware files, checked where it matters that it is another
interpreter (its struct, its floats, its files, its JSON)."""

import os
import socket
import sys

import board
import machine
from slownode import conversion, mqtt, pack, ring, settings, waking

passed = failed = 0


def check(name, holds):
    global passed, failed
    if holds:
        passed += 1
    else:
        failed += 1
        print("FAILED", name)


def raises(kind, call, words):
    try:
        call()
    except kind as error:
        return words in str(error)
    return False


check("it is MicroPython", sys.implementation.name == "micropython")

# The sensor.
check("check sum of the data sheet", conversion.crc8(bytes((0xBE, 0xEF))) == 0x92)
words = (bytes((0x60, 0x00)), bytes((0x73, 0x33)))
six = b"".join([word + bytes((conversion.crc8(word),)) for word in words])
temp, humid = conversion.air(six)
check("temperature", abs(temp - (-45 + 175 * 0x6000 / 65535)) < 0.001)
check("humidity", abs(humid - (-6 + 125 * 0x7333 / 65535)) < 0.001)
check("a wrong check sum", raises(conversion.SensorError, lambda: conversion.air(b"\0" * 6), "check sum"))
check("a negative load", conversion.load_kg(0xFFFF38, 0, 100.0) == -2.0)
check("a thermistor at 25", conversion.thermistor_c(0.5, 1e4, 1e4, 3950.0) == 25.0)
check("a battery", conversion.battery_v(1850000, 2.0) == 3.7)

# Packs, byte for byte as under CPython.
said = [(1772431200, (21.5, 50.0, None, 19.25, 3.9)), (1772431260, (21.5625, 49.8, 2.345, None, None))]
check(
    "a pack",
    pack.pack("loft", "n1", said)
    == b'[{"bn":"loft/n1/","bt":1772431200,"n":"temperature","u":"Cel","v":21.5},'
    b'{"n":"humidity","u":"%RH","v":50},{"n":"surface","u":"Cel","v":19.25},{"n":"battery","u":"V","v":3.9},'
    b'{"n":"temperature","u":"Cel","v":21.5625,"t":60},{"n":"humidity","u":"%RH","v":49.8,"t":60},'
    b'{"n":"mass","u":"kg","v":2.345,"t":60}]',
)
check(
    "a pack of a node that knows no time",
    pack.pack("loft", "n1", [(5, (None, 50.25, None, None, None))], 65)
    == b'[{"bn":"loft/n1/","n":"humidity","u":"%RH","v":50.25,"t":-60}]',
)
check("a press", pack.press("A3", "n1-1", 1772431200) == b'{"hook":"A3","id":"n1-1","t":1772431200}')

# Packets, byte for byte.
check("a length", mqtt.length(321) == b"\xc1\x02" and mqtt.length(127) == b"\x7f")
check("a publish", mqtt.publish("a/b", b"xy", 258) == b"\x32\x09\x00\x03a/b\x01\x02xy")
check(
    "a connect with a will",
    mqtt.connect("n1", 60, "u", "p", ("s", b"offline"))
    == b"\x10\x20\x00\x04MQTT\x04\xee\x00\x3c\x00\x02n1\x00\x01s\x00\x07offline\x00\x01u\x00\x01p",
)


def receiver(data):
    left = [data]

    def receive(count):
        taken, left[0] = left[0][:count], left[0][count:]
        if len(taken) < count:
            raise OSError("closed")
        return taken

    return receive


check("a connack", mqtt.read(receiver(b"\x20\x02\x00\x00")) == (0x20, b"\x00\x00"))
check("a refusal", raises(mqtt.MqttError, lambda: mqtt.check_connack(0x20, b"\x00\x04"), "password is wrong"))
check("a puback", mqtt.acknowledged(0x40, b"\x01\x02") == 258)
check("a cut packet", raises(OSError, lambda: mqtt.read(receiver(b"\x20\x02\x00")), "closed"))

# The ring, on its file system.
kept = ring.Ring("/ring", capacity=60, per_file=10)
for number in range(25):
    kept.append(1772431200 + number, True, (20.0 + number / 8, 50.0, None, None, 3.9))
again = ring.Ring("/ring", capacity=60, per_file=10)
check("kept in order", [record[1] - 1772431200 for record in again.pending(99)] == list(range(25)))
check("values come back", again.pending(3)[2][3] == (20.25, 50.0, None, None, 3.9))
again.sent(again.pending(12)[-1][0])
check("sent once", ring.Ring("/ring", capacity=60, per_file=10).pending(1)[0][1] == 1772431200 + 12)
newest = sorted([name for name in os.listdir("/ring") if name.endswith(".log")])[-1]
with open("/ring/" + newest, "rb") as file:
    data = file.read()
torn = 0
for cut in range(1, ring.WHOLE):
    with open("/ring/" + newest, "wb") as file:
        file.write(data[:-cut])
    cut_short = ring.Ring("/ring", capacity=60, per_file=10)
    torn += [record[1] - 1772431200 for record in cut_short.pending(99)] == list(range(12, 24))
check("a cut at every byte loses nothing before it", torn == ring.WHOLE - 1)
for number in range(500):
    kept.append(1772440000 + number, False, (1.0, None, None, None, None))
check("the oldest go first", 60 <= len([r for r in kept.pending(999) if not r[2]]) <= 80)

# The settings.
good = '{"wifi_name":"w","wifi_password":"p1","broker":"10.0.0.2","place":"loft","node":"n1"}'
check("settings", settings.read(good)["every_s"] == 60)
check(
    "a placeholder",
    raises(
        settings.SettingsError, lambda: settings.read(good[:-1] + ',"password":"change-me"}'), "placeholder"
    ),
)
check("no JSON", raises(settings.SettingsError, lambda: settings.read("{"), "no JSON"))
check(
    "a limit",
    raises(settings.SettingsError, lambda: settings.read(good[:-1] + ',"every_s":5}'), "10 to 3600"),
)


# A whole waking, with a broker of a few lines.
class Broker:
    def __init__(self):
        self.told = []
        self.answers = b""

    def write(self, data):
        receive = receiver(data)
        kind, body = mqtt.read(receive)
        if kind == 0x10:
            self.answers += b"\x20\x02\x00\x00"
        elif kind == 0x30:
            size = body[0] << 8 | body[1]
            self.told.append((body[2 : 2 + size].decode(), body[4 + size :]))
            self.answers += b"\x40\x02" + body[2 + size : 4 + size]

    def read(self, count):
        taken, self.answers = self.answers[:count], self.answers[count:]
        return taken

    def close(self):
        pass


class Parts:
    def __init__(self):
        self.seconds = 100
        self.broker = None
        self.lines = []

    def measure(self):
        return (20.5, 51.0, None, None, None)

    def uptime(self):
        return self.seconds

    def wall(self):
        return 1772431100 + self.seconds

    def connect(self):
        if self.broker is None:
            raise OSError("no Wi-Fi")
        return __import__("slownode.client").client.Client(self.broker, "n1")

    def set_clock(self):
        pass

    def pressed(self):
        return 0

    def alive(self):
        pass

    def say(self, words):
        self.lines.append(words)


parts, memory = Parts(), {}
chosen = settings.read(good)
fresh = ring.Ring("/fresh")
for _ in range(5):
    parts.seconds += 60
    waking.wake(chosen, parts, fresh, memory)
check("kept while the network is away", fresh.count() == 5 and "no Wi-Fi" in parts.lines[0])
parts.broker = Broker()
for _ in range(8):
    parts.seconds += 60
    slept = waking.wake(chosen, parts, fresh, memory)
check("sent when it is back", fresh.count() == 0 and slept == 60)
topics = [topic for topic, _ in parts.broker.told]
check("says that it is there first", topics[0] == "slowcorner/loft/n1/status")
packs = [payload for topic, payload in parts.broker.told if topic.endswith("/senml")]
check("with the times of the measurements", packs[0].startswith(b'[{"bn":"loft/n1/","bt":1772431260,'))


# The thin part: read by this interpreter, and one waking of it with stand-ins for the hardware.
class Wire(Broker):
    def settimeout(self, seconds):
        pass

    def connect(self, address):
        self.address = address


machine.AIR = six
socket.wire = wire = Wire()
memory = board.memory()
parts = board.Board(chosen, memory)
hung = ring.Ring("/hung")
slept = waking.wake(chosen, parts, hung, memory)
check("the board measures and sends", hung.count() == 0 and wire.address == ("10.0.0.2", 1883))
sent = [payload for topic, payload in wire.told if topic == "slowcorner/loft/n1/senml"]
check(
    "by the set clock",
    len(sent) == 1 and b'"n":"temperature","u":"Cel","v":%s' % pack.number(temp).encode() in sent[0],
)
parts.sleep(slept, memory)
check(
    "and sleeps, with its memory kept",
    machine.asleep == [slept * 1000] and board.memory()["boot"] == memory["boot"],
)
compile(open("/lib/main.py").read(), "main.py", "exec")

print("%d passed, %d failed" % (passed, failed))
