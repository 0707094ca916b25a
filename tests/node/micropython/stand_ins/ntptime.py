"""Stands in for a time server: the clock is right already."""


def settime():
    pass
