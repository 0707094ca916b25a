"""The outbox under SIGKILL, in a process of its own, against a push service that is listening."""

import signal
import subprocess
import sys
from pathlib import Path

from scheduler.forecast import Notice
from sensors.clock import wall_millis
from server.phone.vapid import vapid_keys
from server.store import notices, subscriptions
from server.store.engine import open_store
from tests.service.postman import tell
from tests.service.push_service import running_push_service

ROOT = Path(__file__).parents[2]
PATIENCE_S = 30.0


def test_a_kill_while_the_push_service_has_it_repeats_nothing(tmp_path: Path) -> None:
    """Three notices, the service killed during each: each reaches the push service once, never again."""
    url, key_file = f"sqlite:///{tmp_path / 'shop.db'}", tmp_path / "push_key.pem"
    command = [sys.executable, "-m", "tests.service.outbox_process", url, str(key_file)]
    with running_push_service() as service:
        service.application_key = vapid_keys(key_file).public
        phone = service.new_phone()
        engine = open_store(url)
        subscriptions.subscribe(engine, phone.endpoint, phone.p256dh, phone.auth, wall_millis())
        titles = [f"Heron, coat {coat}" for coat in (5, 6, 7)]
        for number, title in enumerate(titles):
            tell(engine, [Notice(f"fit:{number}", "fit", 1, title, "may go on", 0)], wall_millis())
            service.taken.clear()
            service.speak.clear()
            service.silent.set()
            with subprocess.Popen(command, cwd=ROOT) as process:
                assert service.taken.wait(PATIENCE_S)
                process.send_signal(signal.SIGKILL)
            assert process.returncode == -signal.SIGKILL
            service.silent.clear()
            service.speak.set()
        subprocess.run(command, cwd=ROOT, check=True, timeout=PATIENCE_S)
        kept = notices.notices(engine, 10)
        engine.dispose()
    assert service.faults == []
    assert [push.payload["title"] for push in service.pushes] == titles
    assert [(notice.maybe_sent, notice.sent, notice.waiting) for notice in kept] == [(1, 0, 0)] * 3
