"""Trials side by side, each in a process of its own, with a deadline."""

import contextlib
import json
import os
import signal
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from tests.mutants.mutator import Mutant, mutate
from tests.mutants.trial import NEVER_IMPORTED, Target, run_trial, timings_beside

TIMEOUT_S = 60.0
POLL_S = 0.005
TAIL = 3000
# pytest's exit statuses: all passed; a test failed, a file could not be imported, an error inside pytest.
PASSED, FAILED = 0, (1, 2, 3)


def outcomes(
    target: Target, made: Sequence[Mutant], files: Sequence[str], seconds: Mapping[str, float], workers: int
) -> Iterator[tuple[Mutant, str, float]]:
    """Each mutant with its outcome ("killed", "timeout" or "survived") and how long that took [s], as they end."""
    waiting, running = list(reversed(made)), dict[int, tuple[Mutant, float]]()
    try:
        while waiting or running:
            while waiting and len(running) < workers:
                mutant = waiting.pop()
                running[_start(target, mutant, files, seconds)] = mutant, time.monotonic()
            for pid, (mutant, began) in list(running.items()):
                took = time.monotonic() - began
                ended, status = os.waitpid(pid, os.WNOHANG)
                if not ended and took < TIMEOUT_S:
                    continue
                del running[pid]
                if not ended:
                    _kill(pid)
                yield mutant, _outcome(target, mutant, status) if ended else "timeout", took
            time.sleep(POLL_S)
    finally:
        for pid in running:
            _kill(pid)


def baseline(target: Target, files: Sequence[str]) -> dict[str, float]:
    """What each test takes [s] while nothing is mutated; SystemExit unless all pass, in the order of the trials too.

    Without that every mutant would count as killed.
    """
    seconds: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(2):
            output = Path(folder) / "output.txt"
            pid = os.fork()
            if not pid:
                run_trial(target, target.tree(), files, seconds, output)
            status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
            if status != PASSED:
                said = "" if status == NEVER_IMPORTED else "\n" + output.read_text()[-TAIL:]
                raise SystemExit(f"without any mutant {_fault(target, status)}{said}")
            seconds = json.loads(timings_beside(output).read_text())
    return seconds


def _start(target: Target, mutant: Mutant, files: Sequence[str], seconds: Mapping[str, float]) -> int:
    pid = os.fork()
    if not pid:
        tree = target.tree()
        mutate(tree, mutant)
        run_trial(target, tree, files, seconds)
    with contextlib.suppress(PermissionError, ProcessLookupError):  # the child may have done it, or be gone
        os.setpgid(pid, pid)
    return pid


def _outcome(target: Target, mutant: Mutant, status: int) -> str:
    """What a child's end says of its mutant; one that ended by a signal was killed by it."""
    code = os.waitstatus_to_exitcode(status)
    if code > max(FAILED):
        raise SystemExit(f"line {mutant.line}, {mutant.after!r}: {_fault(target, code)}")
    return "survived" if code == PASSED else "killed"


def _fault(target: Target, status: int) -> str:
    if status == NEVER_IMPORTED:
        return f"no test imports {target.module}"
    return f"the tests of {target.tests} fail or can't be run (exit status {status})"


def _kill(pid: int) -> None:
    """The child and what it started."""
    os.killpg(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
