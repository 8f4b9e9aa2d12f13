"""How often somebody may try to come in, and how many passwords a process hashes at once.

Each process counts in its own memory and grants its share of what the installation allows: a flood of tries costs the
database nothing. Codes, which nobody is asked for before a right password, are counted in the database, by all
processes as one. A count is a moment, the one at which all that was taken is given back (GCRA).
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import Argon2PasswordHasher
from django.db import transaction

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


@dataclass
class CountedByAll(Allowance):
    """The same where six are six however many processes serve: a row of the database a key."""

    name: str = ""

    @property
    def share(self) -> tuple[int, float]:
        return self.at_once, self.each_s

    def _rows(self, key: str) -> Any:
        from fleet.models.access import Kept  # tries are counted before the models are set up

        return Kept.objects.filter(cache_key=f"tries {self.name} {key}")

    def _left_s(self, rows: Any) -> float:
        """Until all of it is given back."""
        known = rows.values_list("value", flat=True).first()
        return max(0.0, float(known) - time.time()) if known else 0.0

    def wait_s(self, key: str) -> float:
        return max(0.0, self._left_s(self._rows(key)) - (self.at_once - 1) * self.each_s)

    @transaction.atomic
    def take(self, key: str) -> None:
        rows, now = self._rows(key), time.time()
        rows.get_or_create(defaults={"cache_key": f"tries {self.name} {key}", "value": now, "expires": _moment(now)})
        left = self._left_s(rows.select_for_update())
        if (wait := left - (self.at_once - 1) * self.each_s) > 0:
            raise TooMany(wait)
        self._keep(rows, left + self.each_s)

    @transaction.atomic
    def give_back(self, key: str) -> None:
        rows = self._rows(key)
        self._keep(rows, self._left_s(rows.select_for_update()) - self.each_s)

    def _keep(self, rows: Any, left_s: float) -> None:
        full_at = time.time() + left_s
        rows.update(value=full_at, expires=_moment(full_at))


def _moment(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


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
# Wrong codes of one person from one network: 18 in the first hour, then 12 an hour; and of one person from everywhere,
# more than one network can use up: 160 in the first hour, then 60 an hour. Whoever knows the password guesses one of an
# app's three codes that are right at a moment, of a million, with a chance of at most 0.5 % a day from a hundred
# networks, of 0.1 % from one. Recovery codes are counted apart and with the same figures: ten of a hundred million are
# right, so that a day's guesses come to 0.02 %; they open where the app's codes are used up.
OF_CODES = CountedByAll(at_once=6, each_s=300, name="codes")
OF_ALL_CODES = CountedByAll(at_once=100, each_s=60, name="all codes")


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
    for each in (OF_STRANGERS, OF_ACCOUNT, OF_NETWORK, OF_PASSKEYS, OF_LINKS):
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
