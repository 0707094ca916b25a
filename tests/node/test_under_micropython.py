"""The firmware's pure part under the real MicroPython interpreter, compiled to WebAssembly, in Node."""

import base64
import hashlib
import subprocess
import tarfile
from pathlib import Path

import pytest

from tests.node.firmware import FOLDER

PACKAGE = "@micropython/micropython-webassembly-pyscript@1.27.0"
INTEGRITY = "DnXx4EqxgkeaFESrS3uKrL7mLMk4mRTd0mMzaOd3HUSiZUOAE7t11uLnjf3ftF87N2xm4knHnWEKcVK4IYIUDA=="
"""SHA-512 of the package as it was published, in base64."""

HERE = Path(__file__).parent / "micropython"


@pytest.fixture(scope="session")
def micropython(needs_npm: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The interpreter's folder, fetched once and held against its sum."""
    folder = tmp_path_factory.mktemp("micropython")
    fetched = subprocess.run(
        [needs_npm, "pack", PACKAGE, "--silent"], cwd=folder, capture_output=True, text=True, timeout=120
    )
    assert fetched.returncode == 0, fetched.stderr
    archive = next(folder.glob("*.tgz"))
    assert base64.b64encode(hashlib.sha512(archive.read_bytes()).digest()).decode() == INTEGRITY
    with tarfile.open(archive) as opened:
        for name in ("micropython.mjs", "micropython.wasm"):
            content = opened.extractfile(f"package/{name}")
            assert content is not None
            (folder / name).write_bytes(content.read())
    return folder


def run(node: str, micropython: Path, suite: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [node, HERE / "run.mjs", micropython, FOLDER, suite], capture_output=True, text=True, timeout=60
    )


def test_the_firmware_holds_under_micropython(micropython: Path, needs_node: str) -> None:
    found = run(needs_node, micropython, HERE / "suite.py")
    print(found.stdout)
    assert found.returncode == 0, found.stdout + found.stderr
    passed = int(found.stdout.splitlines()[-1].split()[0])
    assert passed >= 30


def test_a_failing_check_fails_the_run(micropython: Path, needs_node: str, tmp_path: Path) -> None:
    for number, text in enumerate(("print('1 passed, 1 failed')", "print('0 passed, 0 failed')", "1 / 0")):
        suite = tmp_path / f"{number}.py"
        suite.write_text(text)
        assert run(needs_node, micropython, suite).returncode != 0
