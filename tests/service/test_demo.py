"""The demo as a newcomer meets it: one command, real MQTT, and a tree that comes fit while one looks on."""

import json
import re
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from typing import Any

import pytest

WITHIN_S = 120.0
LOOK_EVERY_S = 0.5


class Demo:
    """The demo in a process of its own."""

    def __init__(self, data: Path) -> None:
        self.log = data.parent / "demo.log"
        with self.log.open("w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "server", "demo", "--data", str(data), "--port", "0"],
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        found = None
        deadline = time.monotonic() + WITHIN_S
        while found is None:
            assert self.process.poll() is None, self.log.read_text()
            assert time.monotonic() < deadline, self.log.read_text()
            found = re.search(r"The rack is at +(http://\S+)", self.log.read_text())
        self.page = found[1]

    def get(self, path: str) -> str:
        with urllib.request.urlopen(self.page + path, timeout=10) as answer:
            return str(answer.read(), "utf-8")

    def rack(self) -> dict[str, dict[str, Any]]:
        return {tree["label"]: tree for tree in json.loads(self.get("/api/rack"))["trees"]}

    def wait_for(self, pattern: str) -> None:
        """Wait until the log says it: what comes fit just after another is gathered for a moment."""
        deadline = time.monotonic() + WITHIN_S
        while not re.search(pattern, self.log.read_text()):
            assert time.monotonic() < deadline, self.log.read_text()
            time.sleep(LOOK_EVERY_S)

    def stop(self) -> int:
        self.process.terminate()
        return self.process.wait(timeout=30)


@pytest.mark.slow
def test_a_tree_comes_fit_with_its_slow_spot_named_and_a_restart_goes_on(tmp_path: Path) -> None:
    began = time.monotonic()
    demo = Demo(tmp_path / "data")
    try:
        opened = time.monotonic()
        first = demo.rack()
        assert set(first) == {"Heron", "Bittern", "Snipe", "Avocet", "Dunlin", "Teal"}
        assert {tree["state"] for tree in first.values()} >= {"new", "drying", "resting"}
        assert "Heron" in demo.get("/")
        drying = {label for label, tree in first.items() if tree["state"] == "drying"}
        came_fit: dict[str, dict[str, Any]] = {}
        while not came_fit:
            assert time.monotonic() < opened + WITHIN_S, demo.rack()
            time.sleep(LOOK_EVERY_S)
            came_fit = {
                label: tree
                for label, tree in demo.rack().items()
                if label in drying and tree["state"] == "fit"
            }
        after_s = time.monotonic() - opened
        label, tree = next(iter(came_fit.items()))
        assert tree["slowest_spot"].startswith(("joint:", "pocket:", "cavity:"))
        assert "was the last" in tree["reason"]
        demo.wait_for(rf"notice: .*{label}")
        demo.get("/readyz")  # raises where it is not ready
        tree_page = demo.get(f"/trees/{tree['id']}")
        assert label in tree_page
        assert "<svg" in tree_page
    finally:
        assert demo.stop() == 0
    assert re.search(rf"notice: .*fit to dip.*{label}|notice: {label}: fit to dip", demo.log.read_text())
    print(f"\npage after {opened - began:.1f} s; {label} came fit {after_s:.0f} s later, {tree['reason']}")

    began = time.monotonic()
    again = Demo(tmp_path / "data")
    try:
        print(f"second start: page after {time.monotonic() - began:.1f} s")
        assert again.rack()[label]["state"] == "fit"
        assert again.rack()[label]["fit_at"] == tree["fit_at"]
    finally:
        assert again.stop() == 0
    assert f"notice: {label}: fit to dip" not in again.log.read_text()
