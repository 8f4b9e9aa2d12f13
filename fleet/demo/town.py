"""What the demonstration walks through: its people, instruments and appliances, and how far it has come."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np

from fleet.demo.simulation import SEED, Life
from fleet.models import Analyser, ModelSheet, Person, User

YEAR = timedelta(days=365)
OLDER_YEARS = 2
LAPSED_DAYS, LAPSED = 70, 3  # which instrument has no calibration in force since so many days


@dataclass(frozen=True)
class Account:
    """A log-in; its password was made for this installation and exists nowhere else."""

    username: str
    password: str
    role: str
    name: str


@dataclass(frozen=True)
class Member:
    """A technician: the log-in that sends their visits, the person who signs them, the instrument they carry."""

    user: User
    person: Person
    analyser: Analyser


@dataclass
class Town:
    """Everything the demonstration walks through.

    begins: the day from which the service is used; what is older was brought in on that day. bias: of each
    instrument's O2 [%]. unable: measures O2 and temperatures only.
    """

    actor: User
    manager: User
    dispatcher: User
    now: datetime
    crew: list[Member]
    unable: Analyser
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(SEED))
    bias: dict[UUID, float] = field(default_factory=dict)
    lives: dict[UUID, Life] = field(default_factory=dict)
    sheets: dict[str, ModelSheet] = field(default_factory=dict)
    cases: list[Any] = field(default_factory=list)
    attempts: list[Any] = field(default_factory=list)
    corrections: list[tuple[dict[str, Any], User, str]] = field(default_factory=list)
    sent: int = 0
    found: int = 0
    lapse_seen: bool = False
    returned_late: bool = False

    @property
    def begins(self) -> datetime:
        return self.now - YEAR

    @property
    def today(self) -> date:
        return self.now.date()

    def member_of(self, life: Life) -> Member:
        """Who keeps the round that this building is on."""
        return self.crew[life.site % len(self.crew)]
