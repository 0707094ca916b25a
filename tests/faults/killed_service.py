"""Runs the real service and kills it by SIGKILL after so many commits, before the last is acknowledged.

    python -m tests.faults.killed_service DATA_FOLDER COMMITS

COMMITS 0 lets it live.
"""

import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path

from sensors.intake.message import Message
from server import running
from server.app import Service
from server.settings import Settings
from server.store.values import BatchOutcome


class DoomedService(Service):
    """A service that does not outlive its n-th commit."""

    lives = 0

    def commit(self, messages: Sequence[Message]) -> BatchOutcome:
        """Keep the batch, then die if it was the last one."""
        outcome = super().commit(messages)
        DoomedService.lives -= 1
        if DoomedService.lives == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return outcome


if __name__ == "__main__":
    DoomedService.lives = int(sys.argv[2])
    running.run_service(
        Settings(data=Path(sys.argv[1]), port=0, mqtt="listen://127.0.0.1:0"), service_class=DoomedService
    )
