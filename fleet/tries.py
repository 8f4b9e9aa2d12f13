"""How often somebody may try to come in, and how many passwords a process hashes at once.

Each process counts in its own memory and grants its share of what the installation allows: a flood of tries costs the
database nothing. A count is a moment, the one at which all that was taken is given back (GCRA).
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher

WAITS_S = 2.0
HELD_S = 0.5
MOST_KEYS = 20_000


class TooMany(Exception):
    """Refused unread: too often, or too much at once. wait_s: when it is worth trying again."""

    def __init__(self, wait_s: float) -> None:
        super().__init__(wait_s)
        self.wait_s = max(1, round(wait_s))


@dataclass
class Allowance:
    """So many at once from one key, and one more each so many seconds; halved, say, where two processes serve."""

    at_once: int
    each_s: float
    _full_at: OrderedDict[str, float] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def share(self) -> tuple[int, float]:
        processes = settings.WEB_PROCESSES
        return max(1, self.at_once // processes), self.each_s * processes

    def wait_s(self, key: str) -> float:
        """How long until one more is allowed; 0 where it is."""
        at_once, each_s = self.share
        return max(0.0, self._full_at.get(key, 0.0) - time.monotonic() - (at_once - 1) * each_s)

    def take(self, key: str) -> None:
        """Raises TooMany where none is left."""
        with self._lock:
            if wait := self.wait_s(key):
                raise TooMany(wait)
            now = time.monotonic()
            self._full_at[key] = max(self._full_at.get(key, 0.0), now) + self.share[1]
            self._full_at.move_to_end(key)
            while len(self._full_at) > MOST_KEYS or next(iter(self._full_at.values())) < now:
                self._full_at.popitem(last=False)

    def give_back(self, key: str) -> None:
        with self._lock:
            if key in self._full_at:
                self._full_at[key] -= self.share[1]

    def forget(self) -> None:
        with self._lock:
            self._full_at.clear()


# Of one account from all networks from which its owner never came; more than one network can use up (`OF_ACCOUNT`), and
# given anew faster than some can keep it used up: nobody alone locks its owner out of a network that is new to them.
OF_STRANGERS = Allowance(at_once=12, each_s=10)
# Of one account from one network: whoever guesses from elsewhere locks nobody out.
OF_ACCOUNT = Allowance(at_once=10, each_s=90)
# Of one network, whatever the names: an office is one network, and what was right is given back.
OF_NETWORK = Allowance(at_once=30, each_s=10)
# Passkeys asked for of one network: nothing can be guessed there, but each asks for a row.
OF_PASSKEYS = Allowance(at_once=60, each_s=5)
# Links for a new password, of one network: an address counted by itself would be closed to its owner by anybody.
OF_LINKS = Allowance(at_once=6, each_s=600)
# Wrong codes of one person from one network; and of one person from everywhere, more than one network can use up.
OF_CODES = Allowance(at_once=6, each_s=300)
OF_ALL_CODES = Allowance(at_once=100, each_s=60)


def take_all(wanted: list[tuple[Allowance, str]]) -> None:
    """Each of them or none: what is refused by one uses up no other. Raises TooMany."""
    for number, (allowance, key) in enumerate(wanted):
        try:
            allowance.take(key)
        except TooMany:
            give_back_all(wanted[:number])
            raise


def give_back_all(taken: list[tuple[Allowance, str]]) -> None:
    for allowance, key in taken:
        allowance.give_back(key)


def forget_all() -> None:
    for each in (OF_STRANGERS, OF_ACCOUNT, OF_NETWORK, OF_PASSKEYS, OF_LINKS, OF_CODES, OF_ALL_CODES):
        each.forget()


_hashing = threading.BoundedSemaphore(1)
_held = threading.BoundedSemaphore(settings.WEB_THREADS - settings.WEB_WORKING)
# How many requests of a process do anything at once.
working = threading.BoundedSemaphore(settings.WEB_WORKING)
# One hashes and one waits: the other threads of a process go on reading pages.
_places = threading.Semaphore(2)


def busy_s() -> float:
    """How long it is worth to wait before something is hashed; 0 where it can be at once, or next."""
    return 0.0 if _places._value else WAITS_S  # a semaphore tells it nowhere else


def hold_up() -> None:
    """What is refused comes back a little later, while threads are left for that: a flood slows itself down."""
    if _held.acquire(blocking=False):
        try:
            time.sleep(HELD_S)
        finally:
            _held.release()


@contextmanager
def one_at_a_time() -> Iterator[None]:
    """Raises TooMany at once where somebody waits already, and after two seconds of waiting."""
    if not _places.acquire(blocking=False):
        raise TooMany(WAITS_S)
    try:
        if not _hashing.acquire(timeout=WAITS_S):
            raise TooMany(WAITS_S)
        try:
            yield
        finally:
            _hashing.release()
    finally:
        _places.release()


class BoundedArgon2(Argon2PasswordHasher):
    """Argon2id in one lane, so that a hash takes one core; one at a time in a process.

    46 MiB is the largest memory of the OWASP Password Storage Cheat Sheet's equal choices; it asks for one pass then.
    """

    time_cost, memory_cost, parallelism = 2, 46 * 1024, 1

    def encode(self, password: str, salt: str) -> Any:
        with one_at_a_time():
            return super().encode(password, salt)

    def verify(self, password: str, encoded: str) -> Any:
        with one_at_a_time():
            return super().verify(password, encoded)
