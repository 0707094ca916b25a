"""A real Mosquitto for tests: on a free port of the loopback, in a folder of its own."""

import getpass
import re
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import IO, Self

PATIENCE_S = 20.0
LASTING = (
    "persistence true",
    "autosave_on_changes true",
    "autosave_interval 1",
    "max_queued_messages 100000",
)
"""What the sample configuration says about keeping messages."""


def free_port() -> int:
    """A port that nobody listens at just now."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


class Mosquitto:
    """The broker over `folder`; `lines` are those of its configuration beyond where it listens and keeps."""

    def __init__(self, program: str, folder: Path, *lines: str, port: int = 0) -> None:
        self.port = port or free_port()
        self._program = program
        self.said: list[str] = []
        self._process: subprocess.Popen[str] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        self._config = folder / "mosquitto.conf"
        said = (
            f"listener {self.port} 127.0.0.1",
            f"user {getpass.getuser()}",  # as root it would become another user, who may not write here
            f"persistence_location {folder}/",
            "log_dest stderr",
            *lines,
        )
        self._config.write_text("\n".join(said) + "\n", encoding="utf-8")

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Begin; returns when it listens."""
        self._process = subprocess.Popen(
            [self._program, "-c", str(self._config)], stderr=subprocess.PIPE, text=True
        )
        assert self._process.stderr is not None
        running = threading.Event()
        # Read all the while: a full pipe would stop the broker.
        self._reader = threading.Thread(target=self._read, args=(self._process.stderr, running))
        self._reader.start()
        assert running.wait(PATIENCE_S), f"Mosquitto did not begin: {self.said}"

    def _read(self, lines: IO[str], running: threading.Event) -> None:
        with lines:
            for line in lines:
                self.said.append(line)
                if re.search(r"mosquitto version .* running", line):
                    running.set()

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        """End it, in good order or not; stopped already, nothing happens."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(PATIENCE_S)
            self._reader.join()
            self._process = None


@contextmanager
def anonymous(program: str, folder: Path, *lines: str) -> Iterator[Mosquitto]:
    """A broker that lets everybody in."""
    with Mosquitto(program, folder, "allow_anonymous true", *LASTING, *lines) as broker:
        yield broker
