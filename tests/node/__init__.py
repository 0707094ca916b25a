"""The node's firmware: its pure part under CPython and under MicroPython, its client against real brokers."""
