"""A node of the shop: what runs on a microcontroller board under MicroPython."""
