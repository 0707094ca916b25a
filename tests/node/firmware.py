"""Brings the firmware's pure part into CPython, and keeps its own docstring examples in sight."""

import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "sensors" / "node"
PURE = ("conversion", "pack", "ring", "mqtt", "client", "settings", "waking")

if str(FOLDER) not in sys.path:
    sys.path.append(str(FOLDER))
