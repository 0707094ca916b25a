"""The board itself: pins, sensor, load cell, network, clock, sleep. The only file that knows hardware.

Pins by default, by number of the microcontroller; change them under "pins" in settings.json:
sda 8, scl 9 humidity sensor; load_data 4, load_clock 5 load-cell amplifier; button 7; surface 2, battery 3
(both must be able to measure a voltage); led 10.
"""

import json
import random
import socket
import ssl
import time

import machine
import network
import ntptime
from slownode import conversion, mqtt
from slownode.client import Client

PINS = {
    "sda": 8,
    "scl": 9,
    "load_data": 4,
    "load_clock": 5,
    "button": 7,
    "surface": 2,
    "battery": 3,
    "led": 10,
}
SENSOR_ADDRESS = 0x44
MEASURE = b"\xfd"
"""The sensor's command for one measurement of high repeatability; it takes under 10 ms (data sheet)."""

WIFI_WAIT_S, SOCKET_WAIT_S, WATCHDOG_MS = 20, 15, 120000
SHORTEST_DEEP_SLEEP_S = 20
"""Under this the board only dozes: starting anew would take longer than it spares."""

CLOCK_EVERY_S = 6 * 3600

EPOCH = 946684800 if time.gmtime(0)[0] == 2000 else 0
"""Seconds from 1970 to where this MicroPython counts from."""

KNOWN_FROM = 1704067200
"""A clock that stands before 2024 was never set."""


def memory():
    """What lasts through deep sleep, and is gone after a power cut."""
    try:
        return json.loads(machine.RTC().memory())
    except (ValueError, OSError):
        return {"boot": "%04x" % random.getrandbits(16)}


def stop(words):
    """Say what is wrong, for whoever looks on, and wait for them."""
    print("slownode:", words)
    led = machine.Pin(PINS["led"], machine.Pin.OUT)
    while True:
        led.value(not led.value())
        time.sleep_ms(250)


def restart_soon():
    """Begin again after a minute, without using the battery up."""
    machine.deepsleep(60000)


class Board:
    """The parts that `waking.wake` asks for."""

    def __init__(self, chosen, kept):
        self._chosen = chosen
        self._kept = kept
        self._pins = dict(PINS)
        self._pins.update(chosen["pins"])
        self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._button = machine.Pin(self._pins["button"], machine.Pin.IN, machine.Pin.PULL_UP)
        # Pressed while it slept: that is what woke it.
        self._presses = (
            1 if machine.reset_cause() == machine.DEEPSLEEP_RESET and self._button.value() == 0 else 0
        )
        self._button.irq(self._press, machine.Pin.IRQ_FALLING)
        self._pressed_ms = 0
        self._wifi = network.WLAN(network.STA_IF)

    def measure(self):
        """Temperature, humidity, mass, surface temperature, battery voltage; None where one is not there."""
        temp, humid = self._tried(self._air, (None, None))
        return (
            temp,
            humid,
            self._tried(self._mass, None),
            self._tried(self._surface, None),
            self._tried(self._battery, None),
        )

    def uptime(self):
        """Seconds of the clock that goes on through sleep, as if it had never been set."""
        return int(time.time()) - self._kept.get("shift", 0)

    def wall(self):
        """Seconds since 1970, None while the clock was never set."""
        seconds = int(time.time()) + EPOCH
        return seconds if self._kept.get("clock_set") and seconds > KNOWN_FROM else None

    def connect(self):
        """Into the Wi-Fi and to the broker."""
        self._join()
        chosen = self._chosen
        address = socket.getaddrinfo(chosen["broker"], chosen["broker_port"])[0][-1]
        stream = socket.socket()
        try:
            stream.settimeout(SOCKET_WAIT_S)
            stream.connect(address)
            if chosen["tls"]:
                stream = self._encrypted(stream)
        except OSError:
            stream.close()
            raise
        root = "slowcorner/%s/%s/status" % (chosen["place"], chosen["node"])
        return Client(stream, chosen["node"], chosen["user"], chosen["password"], (root, b"offline"))

    def set_clock(self):
        """By a time server, the one that is set or the usual one; four times a day is enough."""
        asked = self._kept.get("clock_asked")
        if self._kept.get("clock_set") and self.uptime() - asked < CLOCK_EVERY_S:
            return
        if self._chosen["time_server"]:
            ntptime.host = self._chosen["time_server"]
        before = int(time.time())
        ntptime.settime()
        self._kept["shift"] = self._kept.get("shift", 0) + int(time.time()) - before
        self._kept["clock_set"] = True
        self._kept["clock_asked"] = self.uptime()

    def pressed(self):
        """How often the button was pressed since it was last asked."""
        presses, self._presses = self._presses, 0
        return presses

    def alive(self):
        """Tell the watchdog."""
        self._watchdog.feed()

    def say(self, words):
        """A line on the serial port."""
        print("slownode:", words)

    def sleep(self, seconds, kept):
        """Sleep until the next waking; True where it only dozed and goes on."""
        if self._presses:
            return True
        if seconds < SHORTEST_DEEP_SLEEP_S:
            self.alive()
            time.sleep(seconds)
            return True
        self._wifi.active(False)
        machine.RTC().memory(json.dumps(kept))
        try:
            self._button.irq(trigger=machine.Pin.WAKE_LOW, wake=machine.DEEPSLEEP)
        except (AttributeError, TypeError, ValueError):
            pass  # this board wakes by time alone; a press is seen at its next waking if it is held
        machine.deepsleep(int(seconds * 1000))
        return True

    def _press(self, _pin):
        now = time.ticks_ms()
        if time.ticks_diff(now, self._pressed_ms) > 400:
            self._presses += 1
        self._pressed_ms = now

    def _tried(self, measure, nothing):
        try:
            return measure()
        except (OSError, conversion.SensorError) as error:
            self.say(error)
            return nothing

    def _air(self):
        pins = self._pins
        bus = machine.I2C(0, sda=machine.Pin(pins["sda"]), scl=machine.Pin(pins["scl"]), freq=100000)
        bus.writeto(SENSOR_ADDRESS, MEASURE)
        time.sleep_ms(15)
        return conversion.air(bus.readfrom(SENSOR_ADDRESS, 6))

    def _mass(self):
        part = self._chosen["load_cell"]
        if part is None:
            return None
        clock = machine.Pin(self._pins["load_clock"], machine.Pin.OUT, value=0)
        data = machine.Pin(self._pins["load_data"], machine.Pin.IN)
        readings = sorted(self._load_counts(clock, data) for _ in range(5))
        clock.value(1)  # over 60 us high puts the amplifier to sleep
        return conversion.load_kg(readings[2], part["zero"], part["counts_per_kg"])

    def _load_counts(self, clock, data):
        ends = time.ticks_add(time.ticks_ms(), 1000)
        while data.value():
            if time.ticks_diff(ends, time.ticks_ms()) < 0:
                raise conversion.SensorError("the load cell's amplifier says nothing: look at its wires")
        state = machine.disable_irq()
        counts = 0
        for _ in range(24):
            clock.value(1)
            clock.value(0)
            counts = counts << 1 | data.value()
        clock.value(1)  # a 25th pulse: channel A with gain 128 the next time
        clock.value(0)
        machine.enable_irq(state)
        return counts

    def _surface(self):
        part = self._chosen["thermistor"]
        if part is None:
            return None
        share = machine.ADC(machine.Pin(self._pins["surface"])).read_u16() / 65535
        return conversion.thermistor_c(share, part["fixed_ohm"], part["ohm_25"], part["beta"])

    def _battery(self):
        divider = self._chosen["battery_divider"]
        if divider is None:
            return None
        return conversion.battery_v(machine.ADC(machine.Pin(self._pins["battery"])).read_uv(), divider)

    def _join(self):
        self._wifi.active(True)
        if not self._wifi.isconnected():
            self._wifi.connect(self._chosen["wifi_name"], self._chosen["wifi_password"])
            ends = time.ticks_add(time.ticks_ms(), WIFI_WAIT_S * 1000)
            while not self._wifi.isconnected():
                if time.ticks_diff(ends, time.ticks_ms()) < 0:
                    raise OSError(
                        "no Wi-Fi by the name %s in %d s" % (self._chosen["wifi_name"], WIFI_WAIT_S)
                    )
                time.sleep_ms(100)
        self.alive()

    def _encrypted(self, stream):
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        if self._chosen["ca_file"]:
            with open(self._chosen["ca_file"], "rb") as file:
                context.load_verify_locations(cadata=file.read())
            context.verify_mode = ssl.CERT_REQUIRED
            return context.wrap_socket(stream, server_hostname=self._chosen["broker"])
        raise mqtt.MqttError("tls needs ca_file: the certificate of whoever signed the broker's")
