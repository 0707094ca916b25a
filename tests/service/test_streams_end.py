"""The real service ends at once though pages are listening."""

import http.client
import re
import signal
import subprocess
import sys
from pathlib import Path


def test_the_service_ends_at_once_while_a_page_listens(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tests.faults.killed_service", str(tmp_path), "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        port = next(
            int(found[1])
            for line in process.stdout
            if (found := re.search(r"http://127\.0\.0\.1:(\d+) ", line))
        )
        page = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        page.request("GET", "/events")
        with page.getresponse() as stream:
            assert stream.readline() == b"retry: 3000\n"
            process.send_signal(signal.SIGTERM)
            stream.read()  # a stream that was cut would raise here
            process.wait(20)
        page.close()
        assert "Cancel" not in process.stderr.read()  # uvicorn says so of what it had to cut off after 3 s
        assert process.returncode == 0
