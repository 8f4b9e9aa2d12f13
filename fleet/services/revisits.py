"""Revisits: by when an appliance should be seen again: the earliest of all reasons, which one bound, in a sentence."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

import structlog
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from fleet.models import Appliance, Contractor, Defect, Duty, Flag, Revisit
from fleet.queries.duties import duties_of, undecided_words
from fleet.services import duties, forecasts, jobs

log = structlog.get_logger()
UNDECIDED = "can't be told"


class Refresh(Protocol):
    def __call__(self, *, appliance: Appliance, now: datetime) -> Revisit | None: ...


@dataclass(frozen=True)
class Reason:
    """One reason to come: the last day it allows, the first day on which coming serves it, in words."""

    binding: str
    latest: date
    earliest: date
    sentence: str

    def as_json(self) -> dict[str, str]:
        return {
            "binding": self.binding,
            "latest": f"{self.latest:%Y-%m-%d}",
            "earliest": f"{self.earliest:%Y-%m-%d}",
            "sentence": self.sentence,
        }


@transaction.atomic
def refresh_appliance(*, appliance: Appliance, now: datetime) -> Revisit | None:
    """Everything that follows from an appliance's records: forecasts, duties, drift flags, and its revisit."""
    forecasts.refresh_forecasts(appliances=[appliance], now=now)
    return propose_revisit(appliance=appliance, now=now)


@transaction.atomic
def refresh_everybody(*, now: datetime) -> None:
    """The same for all appliances: forecasts in one pass a series, then each one's flags, duties and revisit.

    Where one fails, the others go on; it gets a job of its own, which tries again and shows its error. An exception
    from here would take back what was done for the others, for all of it is one transaction. In service each appliance
    has a job of its own instead: this keeps everybody else from writing until it ends.
    """
    everybody = list(
        Appliance.objects.select_related("building", "sheet").prefetch_related(
            "sheet__versions", "building__gas_supplies"
        )
    )
    refresh = propose_revisit if _forecast_all(everybody, now) else refresh_appliance
    failed = [each for each in everybody if not _went_well(refresh, each, now)]
    for appliance in failed:
        jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)
    if failed:
        log.error("refresh_left_out", failed=len(failed), of=len(everybody))


def _forecast_all(everybody: Sequence[Appliance], now: datetime) -> bool:
    """False where the pass over all failed: then each is forecast by itself, and only its own failure stops it."""
    try:
        with transaction.atomic():
            forecasts.refresh_forecasts(appliances=everybody, now=now)
    except Exception:
        log.exception("forecasts_of_all_failed")
        return False
    return True


def _went_well(refresh: Refresh, appliance: Appliance, now: datetime) -> bool:
    try:
        with transaction.atomic():
            refresh(appliance=appliance, now=now)
    except Exception:
        log.exception("refresh_failed", appliance=str(appliance.id))
        return False
    return True


@transaction.atomic
def propose_revisit(*, appliance: Appliance, now: datetime) -> Revisit | None:
    """Recompute duties, then drift flags by the next planned visit, then the one proposal."""
    today = now.astimezone(ZoneInfo(appliance.building.time_zone)).date()
    if appliance.in_service_to and appliance.in_service_to < today:
        _close_what_stood(appliance, appliance.in_service_to, now)
    else:
        duties.recompute_duties(duties_of([appliance.id]).filter(until__isnull=True), today=today)
    if not appliance.in_service_on(today):
        Revisit.objects.filter(appliance=appliance).delete()
        return None
    forecasts.flag_drift(appliance=appliance, planned=_next_planned(appliance, today), now=now)
    reasons = sorted(_reasons(appliance, today), key=lambda each: each.latest)
    if not reasons:
        Revisit.objects.filter(appliance=appliance).delete()
        return None
    return _put(appliance, reasons, now)


def _close_what_stood(appliance: Appliance, day: date, now: datetime) -> None:
    """It has left: duties end on its last day, flags about readings and drift close; unsafe and stop stay open."""
    duties.close_duties(appliance=appliance, day=day)
    gone = Flag.objects.filter(
        appliance=appliance, kind__in=(Flag.Kind.OUTSIDE, Flag.Kind.DRIFT), closed_at__isnull=True
    )
    why = _("The appliance was taken out of service on %s.") % f"{day:%Y-%m-%d}"
    gone.update(closed_at=now, closed_why=why, updated_at=now, version=F("version") + 1)


def _next_planned(appliance: Appliance, today: date) -> date:
    """The next visit already planned: the earliest duty; a year from now where there is none."""
    certain = appliance.duties.filter(until__isnull=True, due__isnull=False, cannot_tell="")
    dues = [each for each in certain.values_list("due", flat=True) if each]
    return max(min(dues, default=today + timedelta(days=365)), today)


def _reasons(appliance: Appliance, today: date) -> list[Reason]:
    return [
        *_from_flags(appliance, today),
        *_from_duties(appliance),
        *_from_forecasts(appliance),
        *_from_defects(appliance, today),
    ]


def _from_flags(appliance: Appliance, today: date) -> list[Reason]:
    within = timedelta(days=Contractor.objects.get().outside_within_days)
    reasons = []
    for flag in Flag.objects.filter(appliance=appliance, closed_at__isnull=True).exclude(kind=Flag.Kind.DRIFT):
        if flag.figures.get("put_right"):
            continue
        opened = flag.opened_at.date()
        latest = opened + within if flag.kind == Flag.Kind.OUTSIDE else opened
        reasons.append(Reason(str(flag.kind), latest, opened, flag.sentence))
    return reasons


def _from_duties(appliance: Appliance) -> list[Reason]:
    current = Duty.objects.filter(appliance=appliance, until__isnull=True, due__isnull=False, cannot_tell="")
    return [
        Reason("duty", due, min(each.earliest_keep or each.since, due), f"{each.name}: {each.words}")
        for each in current
        if (due := each.due)
    ]


def _undecided(appliance: Appliance) -> list[dict[str, str]]:
    """Duties whose date rests on a missing fact: told beside the reasons, binding nothing."""
    current = Duty.objects.filter(appliance=appliance, until__isnull=True).exclude(cannot_tell="")
    return [
        {
            "binding": UNDECIDED,
            "latest": "",
            "earliest": f"{each.due:%Y-%m-%d}" if each.due else "",
            "sentence": undecided_words(each.name, each.due, each.cannot_tell),
        }
        for each in current
    ]


def _from_forecasts(appliance: Appliance) -> list[Reason]:
    """Only a fit moves a revisit; a forecast from assumptions is shown and moves nothing."""
    fitted = [
        each
        for kind in (appliance.forecasts, appliance.ceiling_forecasts)
        for each in kind.filter(horizon_on__isnull=False).exclude(basis="assumptions")
    ]
    return [Reason("drift", day, each.last_visit_on, each.sentence) for each in fitted if (day := each.horizon_on)]


def _from_defects(appliance: Appliance, today: date) -> list[Reason]:
    still_open = Defect.objects.filter(appliance=appliance, done=False, closed_by__isnull=True, mend_by__isnull=False)
    return [
        Reason("defect", day, each.visit.local_date, _("Defect to be mended: %s.") % each.what)
        for each in still_open.select_related("visit")
        if (day := each.mend_by)
    ]


def _put(appliance: Appliance, reasons: list[Reason], now: datetime) -> Revisit:
    first = reasons[0]
    values = {
        "earliest": min(first.earliest, first.latest),
        "latest": first.latest,
        "binding": first.binding,
        "sentence": first.sentence[:1000],
        "reasons": [*(each.as_json() for each in reasons), *_undecided(appliance)],
    }
    revisit, made = Revisit.objects.get_or_create(appliance=appliance, defaults=values | {"made_at": now})
    if not made and any(getattr(revisit, name) != value for name, value in values.items()):
        Revisit.objects.filter(id=revisit.id).update(**values, made_at=now, version=F("version") + 1)
        revisit.refresh_from_db()
    return revisit
