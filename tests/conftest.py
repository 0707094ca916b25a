"""What every test may ask for: programs that not every machine has."""

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

from server.drying.kernel_choice import quick

# How long an example takes says something of the machine and who else is on it, and nothing of the law.
settings.register_profile("slowcorner", deadline=None)
settings.load_profile("slowcorner")


def pytest_configure() -> None:
    """Load the kernel the way the service does: collecting imports its modules one by one, and what is
    compiled from then on is neither kept nor found where `deploy/test` had it compiled."""
    quick()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The files with slow tests first: begun last, one of them keeps one core busy alone at the end."""
    slow = {
        item.path for item in items if item.get_closest_marker("slow") or item.get_closest_marker("browser")
    }
    items.sort(key=lambda item: item.path not in slow)


def _program(*names: str) -> str:
    """The path of the first of these programs that is here.

    Where none is, the test is left out and says so; with SLOWCORNER_TEST_ALL=1 it fails instead.
    """
    for name in names:
        # Debian keeps servers where a person's PATH may not look.
        path = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
        if path is not None:
            return path
    missing = f"{' or '.join(names)} is not installed here"
    if os.environ.get("SLOWCORNER_TEST_ALL") == "1":
        pytest.fail(f"{missing}, and SLOWCORNER_TEST_ALL=1 asks for every test")
    pytest.skip(f"left out: {missing}")


@pytest.fixture(scope="session")
def needs_mosquitto() -> str:
    """The path of `mosquitto_pub`."""
    return _program("mosquitto_pub")


@pytest.fixture(scope="session")
def needs_mosquitto_broker() -> str:
    """The path of Mosquitto itself."""
    return _program("mosquitto")


@pytest.fixture(scope="session")
def needs_chromium() -> str:
    """The path of Chromium."""
    return _program("chromium", "chromium-browser")


@pytest.fixture(scope="session")
def needs_certutil() -> str:
    """The path of NSS's `certutil`, which puts an authority into the store that Chromium trusts by."""
    return _program("certutil")


@pytest.fixture(scope="session")
def needs_node() -> str:
    """The path of Node, which runs MicroPython as WebAssembly."""
    return _program("node", "nodejs")


@pytest.fixture(scope="session")
def needs_npm() -> str:
    """The path of npm, which fetches it."""
    return _program("npm")


@pytest.fixture(scope="session")
def needs_faketime() -> Path:
    """The library of faketime that moves the clock under a process with threads."""
    _program("faketime")
    found = sorted(Path("/usr").glob("lib*/**/faketime/libfaketimeMT.so.1"))
    if not found:
        pytest.fail("faketime is installed without libfaketimeMT.so.1 under /usr/lib")
    return found[0]
