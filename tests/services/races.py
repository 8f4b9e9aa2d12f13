"""What somebody else does between our look and our write."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction


def meanwhile(monkeypatch: pytest.MonkeyPatch, act: Callable[[], Any]) -> None:
    """`act` happens once, right before the first transaction that a service begins by `with`."""
    begin = transaction.atomic

    def begin_too_late(*given: Any, **how: Any) -> Any:
        monkeypatch.setattr(transaction, "atomic", begin)
        act()
        return begin(*given, **how)

    monkeypatch.setattr(transaction, "atomic", begin_too_late)
