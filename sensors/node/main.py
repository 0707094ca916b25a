"""What the board runs at every start and every waking: one measurement, one look at what waits, and to sleep.

The thin part that touches hardware. What it decides with is in `slownode`, and is tested.
"""

import sys

import board
from slownode import settings as node_settings
from slownode import waking
from slownode.ring import Ring


def run():
    """One waking. Does not return where the board sleeps."""
    try:
        with open("settings.json") as file:
            chosen = node_settings.read(file.read())
    except OSError:
        board.stop("there is no settings.json on the board: see README.md")
    except node_settings.SettingsError as error:
        board.stop(str(error))
    memory = board.memory()
    parts = board.Board(chosen, memory)
    ring = Ring("ring", chosen["keep"])
    while True:
        seconds = waking.wake(chosen, parts, ring, memory)
        if parts.sleep(seconds, memory):
            continue


if __name__ == "__main__":
    try:
        run()
    except Exception as error:  # the board must come back by itself, whatever it was
        sys.print_exception(error)
        board.restart_soon()
