"""psychrolib in plain Python and in SI: beside Numba it would compile for minutes what is asked here once."""

import importlib
import sys
from unittest import mock

with mock.patch.dict(sys.modules, {"numba": None}):
    psychrolib = importlib.import_module("psychrolib")
psychrolib.SetUnitSystem(psychrolib.SI)
