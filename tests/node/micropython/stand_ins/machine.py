"""Stands in for the board's hardware: says what a quiet board would say, and keeps what it was told."""

DEEPSLEEP, DEEPSLEEP_RESET = 4, 4
AIR = b""
asleep = []
lasting = b""


class Pin:
    IN, OUT, PULL_UP, IRQ_FALLING, WAKE_LOW = 0, 1, 2, 2, 4

    def __init__(self, *said, **more):
        pass

    def value(self, *said):
        return 1

    def irq(self, *said, **more):
        pass


class I2C:
    def __init__(self, number, **more):
        pass

    def writeto(self, address, data):
        assert (address, data) == (0x44, b"\xfd")

    def readfrom(self, address, count):
        return AIR[:count]


class WDT:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


class RTC:
    def memory(self, *said):
        global lasting
        if said:
            lasting = said[0]
        return lasting


def reset_cause():
    return 1


def deepsleep(length):
    asleep.append(length)
