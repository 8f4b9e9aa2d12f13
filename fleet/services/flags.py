"""Flags: open for what needs attention, with a reason in a sentence; never two open for one reason."""

import uuid
from datetime import datetime
from typing import Any

from django.db.models import F
from django.utils.translation import gettext as _

from fleet.errors import Conflict, FleetError, Forbidden
from fleet.models import Appliance, Finding, Flag, Forecast, Judgement, Person, Role, User, Visit
from fleet.services import jobs
from fleet.services.marks import fuel_kind


def open_flags(*, visit: Visit, judgement: Judgement, now: datetime) -> None:
    """What this visit calls for at once: unsafe, stop level, outside a limit. Only the newest visit counts."""
    appliance = visit.appliance
    if visit.unsafe:
        reason = visit.unsafe_details.get("reason") or _("called unsafe by the technician")
        for each in _on_the_same_flue(appliance, visit):
            put_flag(
                appliance=each,
                visit=visit,
                kind=Flag.Kind.UNSAFE,
                key="visit",
                sentence=reason,
                figures={},
                now=now,
            )
    newest = not appliance.visits.filter(local_date__gt=visit.local_date).exists()
    findings = list(judgement.findings.all())
    stop = [each for each in findings if each.stop]
    standing = [each for each in stop if _stands(each.phase, visit)]
    if stop and newest:
        worst = standing[0] if standing else stop[0]
        said = worst.sentence if standing else _("%s Put right at the same visit.") % worst.sentence
        figures = {"value": worst.value, "quantity": worst.quantity, "put_right": not standing}
        put_flag(
            appliance=appliance,
            visit=visit,
            kind=Flag.Kind.STOP,
            key=str(visit.id),
            sentence=said,
            figures=figures,
            now=now,
        )
    if newest:
        _open_outside(visit, findings, now)


def _stands(phase: str, visit: Visit) -> bool:
    """Whether a finding describes how the appliance was left."""
    return phase != "as found" or not any(each.counted_phase == "as left" for each in visit.readings.all())


def _on_the_same_flue(appliance: Appliance, visit: Visit) -> list[Appliance]:
    """A flue found unsafe concerns every appliance on it."""
    common = any(each.sampling_point == "common flue" for each in visit.readings.all())
    if appliance.flue_group is None or not common:
        return [appliance]
    return list(appliance.flue_group.appliances.filter(in_service_to__isnull=True))


def _open_outside(visit: Visit, findings: list[Finding], now: datetime) -> None:
    standing = {
        f"{each.rate} {each.quantity} {each.limit_set}": each
        for each in reversed(findings)
        if not each.stop and _stands(each.phase, visit) and each.value is not None
    }
    for key, finding in standing.items():
        put_flag(
            appliance=visit.appliance,
            visit=visit,
            kind=Flag.Kind.OUTSIDE,
            key=key[:200],
            sentence=finding.sentence,
            figures={"value": finding.value, "quantity": finding.quantity, "severity": finding.severity},
            now=now,
        )
    if any(each.counted_phase != "between" for each in visit.readings.all()):
        healed = Flag.objects.filter(appliance=visit.appliance, kind=Flag.Kind.OUTSIDE, closed_at__isnull=True)
        why = _("Within at the visit of %s.") % f"{visit.local_date:%Y-%m-%d}"
        healed.exclude(key__in=[key[:200] for key in standing]).update(
            closed_at=now, closed_why=why, updated_at=now, version=F("version") + 1
        )


def close_moved(*, visit_id: uuid.UUID, appliance: Appliance, now: datetime) -> None:
    """The visit was another appliance's: what it opened here is closed, but for what only a person may close."""
    opened = Flag.objects.filter(appliance=appliance, visit=visit_id, kind=Flag.Kind.OUTSIDE, closed_at__isnull=True)
    why = _("The visit was another appliance's; it was moved by a correction.")
    opened.update(closed_at=now, closed_why=why, updated_at=now, version=F("version") + 1)


def open_unsafe_unread(*, appliance: Appliance, held_id: uuid.UUID, now: datetime) -> None:
    """A message that can't be read calls the appliance unsafe: that much is acted on at once."""
    sentence = _("Called unsafe in a message that could not be read; the message is kept for mending.")
    put_flag(
        appliance=appliance, visit=None, kind=Flag.Kind.UNSAFE, key="visit", sentence=sentence,
        figures={"held_message": str(held_id)}, now=now,
    )  # fmt: skip
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)


def put_flag(
    *,
    appliance: Appliance,
    visit: Visit | None,
    kind: str,
    key: str,
    sentence: str,
    figures: dict[str, Any],
    now: datetime,
) -> Flag:
    """Open the flag, or bring the open one for the same reason up to date."""
    values = {"sentence": sentence, "figures": figures, "updated_at": now, "visit": visit}
    flag, opened = Flag.objects.get_or_create(
        appliance=appliance, kind=kind, key=key, closed_at__isnull=True, defaults=values | {"opened_at": now}
    )
    if not opened and (flag.sentence, flag.figures) != (sentence, figures):
        Flag.objects.filter(id=flag.id).update(**values, version=F("version") + 1)
        flag.refresh_from_db()
    return flag


def put_drift_flag(*, forecast: Forecast, chance: float, flag_at: float, sentence: str, now: datetime) -> None:
    """Open or close the drift flag of one series; never one from assumptions."""
    key = f"{forecast.rate} {forecast.quantity}"
    if forecast.basis != "assumptions" and chance >= flag_at:
        figures = {"chance": round(chance, 4), "flag_at": flag_at, "snapshot": str(forecast.snapshot_id)}
        put_flag(
            appliance=forecast.appliance, visit=None, kind=Flag.Kind.DRIFT, key=key,
            sentence=sentence, figures=figures, now=now,
        )  # fmt: skip
        return
    still_open = Flag.objects.filter(
        appliance=forecast.appliance, kind=Flag.Kind.DRIFT, key=key, closed_at__isnull=True
    )
    why = _("The chance before the next planned visit is now %(chance).0f %%.") % {"chance": 100 * chance}
    still_open.update(closed_at=now, closed_why=why, updated_at=now, version=F("version") + 1)


def acknowledge_flag(*, flag: Flag, version: int, note: str, actor: User, now: datetime) -> Flag:
    """A named person answers for it. Telling and escalation stop; the flag stays open."""
    same = Flag.objects.filter(id=flag.id, version=version, closed_at__isnull=True)
    changes = {"acknowledged_at": now, "acknowledged_by": actor, "acknowledged_note": note}
    if not same.update(**changes, version=F("version") + 1):
        raise Conflict("changed_meanwhile", "The flag was changed or closed meanwhile; read it again.")
    flag.refresh_from_db()
    return flag


def close_flag(*, flag: Flag, version: int, why: str, actor: User, now: datetime) -> Flag:
    """Close by hand. Unsafe and stop level only by a qualified person, with an as-left test after it or removal."""
    if not why.strip():
        raise FleetError("invalid", "Closing a flag needs its reason.", errors={"why": "is empty; say why"})
    if flag.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP):
        _check_may_close_unsafe(flag, actor, now)
    same = Flag.objects.filter(id=flag.id, version=version, closed_at__isnull=True)
    if not same.update(closed_at=now, closed_by=actor, closed_why=why, updated_at=now, version=F("version") + 1):
        raise Conflict("changed_meanwhile", "The flag was changed or closed meanwhile; read it again.")
    jobs.request_job(kind="refresh_appliance", key=str(flag.appliance_id), due_at=now)
    flag.refresh_from_db()
    return flag


def _check_may_close_unsafe(flag: Flag, actor: User, now: datetime) -> None:
    person = Person.objects.filter(user=actor).prefetch_related("qualifications").first()
    kind = fuel_kind(flag.appliance.burns)
    if actor.role not in (Role.TECHNICIAN, Role.MANAGER) or not (person and person.is_qualified(kind, now.date())):
        raise Forbidden("not_qualified", f"Only a person qualified for {kind} may close this.")
    if flag.figures.get("put_right"):
        return
    removed = flag.appliance.in_service_to is not None and flag.appliance.in_service_to <= now.date()
    tested = flag.appliance.visits.filter(
        record__received_at__gt=flag.opened_at, unsafe=False, readings__counted_phase="as left"
    ).exclude(judgement__findings__stop=True, judgement__findings__phase="as left")
    if not removed and not tested.exists():
        raise FleetError("no_test_since", "It needs a test as left after the flag, or the appliance's removal.")
