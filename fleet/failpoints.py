"""Named points at which a test can break a process off. Inert unless a test arms them."""

from collections.abc import Callable

_armed: dict[str, Callable[[], None]] = {}


def failpoint(name: str) -> None:
    """Do what a test armed here, if it did."""
    if action := _armed.get(name):
        action()


def arm(name: str, action: Callable[[], None]) -> None:
    _armed[name] = action


def disarm() -> None:
    _armed.clear()
