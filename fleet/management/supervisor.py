"""Start the service's processes, start again what dies, stop all of them cleanly."""

import ctypes
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

PR_SET_PDEATHSIG = 1
STOP_WITHIN_S = 4.5
LONGEST_WAIT_S = 30.0


@dataclass
class Child:
    """One process of the service; `failures` in a row lengthen the wait before it is started again.

    renews : exit statuses by which it asks to be started anew at once; they are no failures.
    """

    name: str
    command: list[str]
    renews: frozenset[int] = frozenset()
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    failures: int = 0
    start_at: float = 0.0


@dataclass
class Supervisor:
    children: list[Child]
    say: Callable[[str], None]
    stopping: bool = field(default=False)

    def run(self) -> int:
        """Until SIGINT or SIGTERM; 0 when everything stopped by itself, 1 when something had to be killed."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: setattr(self, "stopping", True))
        while not self.stopping:
            for child in self.children:
                self._tend(child)
            time.sleep(0.1)
        return self._stop()

    def _tend(self, child: Child) -> None:
        now = time.monotonic()
        if child.process is None:
            if now >= child.start_at:
                child.process = subprocess.Popen(child.command, preexec_fn=_die_with_parent, start_new_session=True)
                child.started = now
        elif (code := child.process.poll()) is not None:
            was_well = now - child.started > LONGEST_WAIT_S
            renewed = code in child.renews and was_well
            child.failures = 0 if was_well else child.failures + 1
            wait = 0.0 if renewed else min(2.0**child.failures, LONGEST_WAIT_S)
            self.say(f"{child.name} ended with {code}; starting it again in {wait:.0f} s")
            child.process, child.start_at = None, now + wait

    def _stop(self) -> int:
        running = [each.process for each in self.children if each.process and each.process.poll() is None]
        for process in running:
            process.send_signal(signal.SIGTERM)
        deadline = time.monotonic() + STOP_WITHIN_S
        for process in running:
            try:
                process.wait(max(0.0, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
        return 0 if all(process.wait() >= 0 or process.returncode != -signal.SIGKILL for process in running) else 1


def _die_with_parent() -> None:
    """The kernel ends the child when the supervisor dies, however it dies."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
