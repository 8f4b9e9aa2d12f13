"""What is proposed for an appliance on a day, from all that is known of it."""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Max, Q

from fleet.assess.appliances import by_appliance
from fleet.assess.due.reasons import UNDECIDED, Limbs, Reason, Urgency, limbs_of, urgency_of, window_of
from fleet.assess.foresight.ceilings import CO
from fleet.assess.foresight.forecasts import Told, chance_on, told_figures
from fleet.coded import coded
from fleet.models import (
    Appliance,
    Contractor,
    Defect,
    Flag,
    Forecast,
    NoAccess,
    OutOfUse,
    RequiredCheck,
    Retest,
    Revisit,
    Visit,
)


@dataclass(frozen=True)
class DriftCase:
    """One forecast series of an appliance: the chance before its next planned visit, and what the forecast says.

    flag_at: from which chance its flag opens; never from assumptions.    told: what it says.
    """

    appliance_id: uuid.UUID
    key: str
    chance: float
    planned: date
    flag_at: float
    told: Told
    snapshot_id: uuid.UUID
    from_assumptions: bool

    @property
    def is_flagged(self) -> bool:
        return not self.from_assumptions and self.chance >= self.flag_at

    @property
    def figures(self) -> dict[str, Any]:
        """What its flag keeps: presentation makes the sentence of it."""
        return {
            "chance": round(self.chance, 4),
            "flag_at": self.flag_at,
            "planned": f"{self.planned:%Y-%m-%d}",
            "snapshot": str(self.snapshot_id),
            "forecast": asdict(self.told),
        }


# From this chance on a CO case is flagged, whatever higher one the contractor chooses: CO is apart from tuning.
CO_FLAG_AT = 0.30
ONE_YEAR = timedelta(days=365)


# ---- what is known of many appliances at once ----


@dataclass(frozen=True)
class Known:
    """By appliance what its reasons are made of, read in one query each."""

    contractor: Contractor
    required_checks: Mapping[uuid.UUID, list[RequiredCheck]]
    flags: Mapping[uuid.UUID, list[Flag]]
    forecasts: Mapping[uuid.UUID, list[Forecast]]
    defects: Mapping[uuid.UUID, list[Defect]]
    retests: Mapping[uuid.UUID, list[Retest]]
    tested: Mapping[uuid.UUID, tuple[date, datetime]]
    attempts: Mapping[uuid.UUID, list[date]]
    standing: Mapping[uuid.UUID, Revisit]
    idle: Mapping[uuid.UUID, list[OutOfUse]]

    @classmethod
    def of(
        cls,
        ids: Sequence[uuid.UUID],
        *,
        contractor: Contractor,
        now: datetime,
        required_checks: Iterable[RequiredCheck],
        defects: Iterable[Defect],
        retests: Iterable[Retest],
    ) -> "Known":
        """Required checks, defects and retests: the open ones of these appliances, calculated, dated, resolved by the
        caller.
        """
        of_these = Q(appliance__in=ids)
        told_of = Forecast.objects.filter(of_these).defer("course", "series")
        open_flags = Flag.objects.filter(of_these, closed_at__isnull=True).exclude(kind=Flag.Kind.DRIFT)
        # A date that lies ahead is a phone's mistake; no building is further on than tomorrow.
        known = Visit.objects.filter(of_these, local_date__lte=now.date() + timedelta(days=1)).order_by()
        tested = known.exclude(outcome=Visit.Outcome.NOT_TESTED).values_list("appliance")
        attempts = NoAccess.objects.filter(of_these).order_by("local_date")
        return cls(
            contractor,
            by_appliance(required_checks),
            by_appliance(open_flags),
            by_appliance(told_of),
            by_appliance(defects),
            by_appliance(retests),
            {
                appliance_id: (day, received_at)
                for appliance_id, day, received_at in tested.annotate(
                    last=Max("local_date"), received=Max("record__received_at")
                )
            },
            _days(attempts.values_list("appliance", "local_date")),
            {each.appliance_id: each for each in Revisit.objects.filter(of_these)},
            by_appliance(OutOfUse.objects.filter(of_these, ends__isnull=True)),
        )


def _days(rows: Iterable[tuple[uuid.UUID, date]]) -> dict[uuid.UUID, list[date]]:
    grouped: dict[uuid.UUID, list[date]] = defaultdict(list)
    for appliance_id, day in rows:
        grouped[appliance_id].append(day)
    return grouped


# ---- one appliance ----


@dataclass(frozen=True)
class Proposal:
    """One appliance on one day, and what follows from what is known of it."""

    appliance: Appliance
    today: date
    known: Known
    reasons: list[Reason] = field(init=False)

    def __post_init__(self) -> None:
        made = [*self._from_flags(), *self._from_retests(), *self._from_required_checks(), *self._from_forecasts(),
                *self._from_defects()]  # fmt: skip
        object.__setattr__(self, "reasons", sorted(made, key=lambda each: each.latest))

    def _of(self, rows: Mapping[uuid.UUID, list[Any]]) -> list[Any]:
        return rows.get(self.appliance.id, [])

    @property
    def asked_for(self) -> date | None:
        """The day of the earliest required check whose date is certain, today at the soonest."""
        dues = [due for _required_check, due in self._certain()]
        return max(min(dues), self.today) if dues else None

    @property
    def planned(self) -> date:
        """The next visit already planned; a year from now where no required check asks for one."""
        return self.asked_for or self.today + ONE_YEAR

    def _certain(self) -> list[tuple[RequiredCheck, date]]:
        standing = self.known.required_checks.get(self.appliance.id, [])
        return [(each, each.due) for each in standing if each.due and not each.cannot_tell]

    def _from_flags(self) -> Iterable[Reason]:
        within = timedelta(days=self.known.contractor.outside_within_days)
        zone = ZoneInfo(self.appliance.building.time_zone)
        for flag in self._of(self.known.flags):
            if not flag.figures.get("put_right"):
                opened = flag.opened_at.astimezone(zone).date()
                latest = opened + within if flag.kind == Flag.Kind.OUTSIDE else opened
                yield Reason(
                    str(flag.kind), latest, opened, coded("flag", sentence=flag.sentence, figures=flag.figures)
                )

    def _from_retests(self) -> Iterable[Reason]:
        for each in self._of(self.known.retests):
            why = coded("retest", limit_set=each.limit_set.name, steps=each.steps)
            yield Reason("retest", each.due, each.found_on, why)

    def _from_required_checks(self) -> Iterable[Reason]:
        for each, due in self._certain():
            why = coded("required_check", name=each.name, steps=each.steps)
            yield Reason("required_check", due, min(each.earliest_keep or each.since, due), why)

    def _from_forecasts(self) -> Iterable[Reason]:
        """Only a fit moves a revisit; a forecast from assumptions is shown and moves nothing. CO is never rationed.

        None while it is declared unsafe, at a stop level or out of use: what is off drifts nowhere.
        """
        is_off = any(flag.stops for flag in self._of(self.known.flags))
        is_off = is_off or any(each.begins <= self.today for each in self._of(self.known.idle))
        for each in [] if is_off else self._fitted():
            if each.horizon_on:
                what, is_rationed = ("co", False) if each.quantity == CO else ("drift", True)
                why = coded("forecast", **asdict(told_figures(each)))
                yield Reason("drift", each.horizon_on, each.last_visit_on, why, what, is_rationed)

    def _fitted(self) -> list[Forecast]:
        return [each for each in self._of(self.known.forecasts) if each.basis != "assumptions"]

    def _from_defects(self) -> Iterable[Reason]:
        for each in self._of(self.known.defects):
            if each.due:
                why = coded("defect", what=each.what, steps=each.steps)
                yield Reason("defect", each.due, min(each.visit.local_date, each.due), why)

    def undecided(self) -> list[dict[str, Any]]:
        """Required checks whose date rests on a missing fact: told beside the reasons; they set no date."""
        return [
            {
                "kind": UNDECIDED,
                "latest": "",
                "earliest": f"{each.due:%Y-%m-%d}" if each.due else "",
                "why": ["undecided", {"name": each.name, "doubts": each.cannot_tell}],
            }
            for each in self._of(self.known.required_checks)
            if each.cannot_tell
        ]

    def drift_cases(self) -> list[DriftCase]:
        """Its series, each with the chance before the next planned visit."""
        flag_at = self.known.contractor.flag_at
        return [
            DriftCase(
                appliance_id=self.appliance.id,
                key=f"{each.rate} {each.quantity}",
                chance=chance_on(each, self.planned),
                planned=self.planned,
                flag_at=min(flag_at, CO_FLAG_AT) if each.quantity == CO else flag_at,
                told=told_figures(each),
                snapshot_id=each.snapshot_id,
                from_assumptions=each.basis == "assumptions",
            )
            for each in self._of(self.known.forecasts)
        ]

    def values(self) -> dict[str, Any]:
        """What its proposal says; its extra visit as it was last rationed, until it is rationed anew."""
        limbs, standing = limbs_of(self.reasons), self.known.standing.get(self.appliance.id)
        extra = self._extra(limbs, standing)
        return {
            **window_of(self.reasons, is_beyond=extra == Revisit.Extra.BEYOND, not_before=self.not_before),
            "reasons": [*(each.as_json() for each in self.reasons), *self.undecided()],
            "otherwise_by": limbs.otherwise_by,
            "drift_by": limbs.drift_by,
            "extra": extra,
            "extra_week": standing.extra_week if extra and standing else None,
            **self._risk(limbs),
            "urgency": self.urgency.value,
            "urgency_of": self._urgency_of(),
            "no_access": len(self._attempts()),
        }

    def _urgency_of(self) -> dict[str, Any]:
        """What the urgency is made of."""
        planned = f"{self.asked_for:%Y-%m-%d}" if self.asked_for else ""
        return {"gravest": self.urgency.gravest, "chance": self.urgency.chance, "planned": planned}

    @property
    def urgency(self) -> Urgency:
        return urgency_of(self.reasons, max((chance_on(each, self.planned) for each in self._fitted()), default=0.0))

    def _extra(self, limbs: Limbs, standing: Revisit | None) -> str:
        if limbs.drift_by is None:
            return Revisit.Extra.NONE
        return (standing.extra if standing else "") or Revisit.Extra.WITHIN

    def _risk(self, limbs: Limbs) -> dict[str, Any]:
        """The chance of being outside before somebody would come without an extra visit."""
        if limbs.drift_by is None:
            return {"accepted_risk": None, "accepted_until": None}
        until = max(limbs.otherwise_by or self.planned, self.today)
        drifting = [each for each in self._fitted() if each.quantity != CO]
        risk = max((chance_on(each, until) for each in drifting), default=0.0)
        return {"accepted_risk": round(risk, 2), "accepted_until": until}

    @property
    def not_before(self) -> date | None:
        """The day after the newest attempt that didn't get to it."""
        attempts = self._attempts()
        return attempts[-1] + timedelta(days=1) if attempts else None

    def _attempts(self) -> list[date]:
        """Days of the attempts since the last visit that got to it."""
        tested = self.known.tested.get(self.appliance.id)
        return [day for day in self._of(self.known.attempts) if tested is None or day > tested[0]]

    def has_been_fulfilled(self, standing: Revisit) -> bool:
        """The day it was set for came, and with it a visit that was not yet known when it was set."""
        tested = self.known.tested.get(self.appliance.id)
        if tested is None or standing.day is None:
            return False
        day, received_at = tested
        return day >= standing.day and (standing.set_at is None or received_at > standing.set_at)
