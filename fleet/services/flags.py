"""Flags: open for what needs attention, with the figures of the reason; never two open for one reason."""

import uuid
from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from fleet.assess.appliances import by_appliance
from fleet.assess.due.proposals import DriftCase
from fleet.assess.judging.evidence import no_evidence
from fleet.coded import Coded, coded
from fleet.errors import FleetError, Forbidden
from fleet.limits import Verdict, standing
from fleet.limits.cases import COMMON_FLUE
from fleet.models import Appliance, Flag, Judgement, Person, User, Visit
from fleet.models.access import may_change
from fleet.models.people import fuel_kind
from fleet.services import jobs
from fleet.services.register import change_row

UNSAFE_DEFECT = "unsafe"


def open_flags(*, visit: Visit, judgement: Judgement, now: datetime) -> None:
    """What this visit calls for at once: unsafe and stop level whatever arrives in whatever order; outside a limit
    only by the newest test."""
    left = standing(judgement.said)
    _open_unsafe(visit, now)
    _open_stop(visit, judgement, left, now)
    if _is_newest_test(visit, now):
        _open_outside(visit, left, now)


def replay_newest(*, appliance: Appliance, now: datetime) -> None:
    """After a correction: open and close what the appliance's newest test says now."""
    for newest in _newest_tests([appliance.id], now):
        _open_outside(newest, standing(newest.judgement.said), now)


def close_proven(*, appliance_ids: Collection[uuid.UUID], now: datetime) -> None:
    """Close what the newest test put right, where only now the register says that it is evidence."""
    flagged = by_appliance(_outside_open(appliance_ids))
    for newest in _newest_tests(flagged, now):
        _close_put_right(newest, standing(newest.judgement.said), flagged[newest.appliance_id], now)


def _outside_open(appliance_ids: Iterable[uuid.UUID]) -> QuerySet[Flag]:
    return Flag.objects.filter(appliance__in=list(appliance_ids), kind=Flag.Kind.OUTSIDE, closed_at__isnull=True)


def _newest_tests(appliance_ids: Iterable[uuid.UUID], now: datetime) -> Iterable[Visit]:
    """Of each appliance, in few statements. What is dated ahead of today is none."""
    tested = Visit.objects.exclude(outcome=Visit.Outcome.NOT_TESTED).filter(local_date__lte=_tomorrow(now))
    same = tested.filter(appliance=OuterRef("appliance")).order_by("-local_date").values("local_date")
    of_that_day = tested.filter(appliance__in=list(appliance_ids), local_date=Subquery(same[:1]))
    related = of_that_day.select_related("appliance", "judgement", "attendance").defer("judgement__card")
    found = sorted(related.prefetch_related("readings"), key=lambda each: each.last_moment)
    return {each.appliance_id: each for each in found}.values()


def _open_unsafe(visit: Visit, now: datetime) -> None:
    """Declared unsafe, or left with a defect declared unsafe. What shares its flue is flagged with it."""
    defects = [each.what for each in visit.defects.all() if each.severity == UNSAFE_DEFECT and not each.done]
    if not visit.unsafe and not defects:
        return
    said = visit.unsafe_details.get("reason") or "; ".join(defects)
    for each in _on_the_same_flue(visit.appliance, now):
        put_flag(
            appliance=each, visit=visit, kind=Flag.Kind.UNSAFE, key=str(visit.id), sentence=said[:1000],
            figures={} if each == visit.appliance else {"shares_flue_with": visit.appliance.name}, now=now,
        )  # fmt: skip


def _open_stop(visit: Visit, judgement: Judgement, left: Sequence[Verdict], now: datetime) -> None:
    """One flag a visit for its worst finding at stop level; put right only where none of them stands as left."""
    if not judgement.turned_out.stop:
        return
    fired = [each for each in judgement.findings.all() if each.stop]
    standing_stops = [each for each in left if each.stop and each.outcome == "outside"]
    worst = fired[0]
    said = standing_stops[0] if standing_stops else worst.verdict
    figures = {
        "value": worst.value,
        "quantity": worst.quantity,
        "put_right": not standing_stops,
        "verdict": _kept(said),
    }
    common = {each.number for each in visit.readings.all() if each.sampling_point == COMMON_FLUE}
    at_the_flue = any(each.reading in common for each in fired)
    for each in _on_the_same_flue(visit.appliance, now) if at_the_flue else [visit.appliance]:
        put_flag(
            appliance=each, visit=visit, kind=Flag.Kind.STOP, key=str(visit.id), figures=figures, now=now,
        )  # fmt: skip


def _on_the_same_flue(appliance: Appliance, now: datetime) -> list[Appliance]:
    """The appliance, and all in service on its flue: a flue found unsafe concerns every one of them."""
    if appliance.flue_group is None:
        return [appliance]
    sharing = appliance.flue_group.appliances.exclude(id=appliance.id)
    return [appliance, *(each for each in sharing if each.in_service_on(each.building.today(now)))]


def _is_newest_test(visit: Visit, now: datetime) -> bool:
    """No later test is known, of the same day by its last reading. What is dated ahead of today doesn't count."""
    later = visit.appliance.visits.exclude(id=visit.id).exclude(outcome=Visit.Outcome.NOT_TESTED)
    rivals = later.filter(local_date__gte=visit.local_date, local_date__lte=_tomorrow(now))
    return not any(
        (each.local_date, each.last_moment) > (visit.local_date, visit.last_moment)
        for each in rivals.select_related("attendance").prefetch_related("readings")
    )


def _tomorrow(now: datetime) -> date:
    """The latest date that it can be anywhere."""
    return now.date() + timedelta(days=1)


def _open_outside(visit: Visit, left: Sequence[Verdict], now: datetime) -> None:
    """A flag a rate, quantity and set that stands outside."""
    for key, row in _worst_outside(left).items():
        figures = {"value": row.value, "quantity": row.quantity, "severity": row.severity, "verdict": _kept(row)}
        put_flag(
            appliance=visit.appliance, visit=visit, kind=Flag.Kind.OUTSIDE, key=key, figures=figures, now=now,
        )  # fmt: skip
    still_open = list(_outside_open([visit.appliance_id]))
    _close_put_right(visit, left, still_open, now)
    _close_ended(visit, left, still_open, now)


def _worst_outside(left: Sequence[Verdict]) -> dict[str, Verdict]:
    return {
        _key(each): each
        for each in sorted(left, key=lambda row: row.rank)
        if each.outcome == "outside" and not each.stop and isinstance(each.value, float | int)
    }


def _close_put_right(visit: Visit, left: Sequence[Verdict], still_open: Iterable[Flag], now: datetime) -> None:
    """Closed only by a reading of the same judged within, in a visit that proves it."""
    within = {_key(each) for each in left if each.outcome == "within"} - set(_worst_outside(left))
    put_right = [each.id for each in still_open if each.key in within]
    if put_right and visit.local_date <= _tomorrow(now) and not no_evidence(visit):
        why = coded("within_again", visit=str(visit.id), day=visit.local_date)
        _close(Flag.objects.filter(id__in=put_right), why, now)


def _close_ended(visit: Visit, left: Sequence[Verdict], still_open: Iterable[Flag], now: datetime) -> None:
    """Closed where its set no longer applies."""
    applying = {each.set_id for each in left}
    ended = [each.id for each in still_open if each.key.rpartition(" ")[2] not in applying]
    if ended and visit.local_date <= _tomorrow(now):
        _close(Flag.objects.filter(id__in=ended), coded("set_ended"), now)


def _key(row: Verdict) -> str:
    """What a flag is about: rate, quantity and set, whatever the set's version."""
    return f"{row.rate} {row.quantity} {row.set_id}"[:200]


def _kept(verdict: Verdict) -> dict[str, Any]:
    """Without its reading's place, and without the side figures, which decide nothing."""
    return verdict.as_json() | {"reading_key": None, "provable": None, "conformity": None}


def _close(flags: QuerySet[Flag], why: Coded, now: datetime) -> None:
    code, figures = why
    flags.update(closed_at=now, closed_figures=figures | {"why": code}, updated_at=now, version=F("version") + 1)


def close_gone(*, appliance: Appliance, day: date, now: datetime) -> None:
    """The appliance left on that day: flags about readings and drift close; unsafe and stop level stay open."""
    gone = Flag.objects.filter(
        appliance=appliance, kind__in=(Flag.Kind.OUTSIDE, Flag.Kind.DRIFT), closed_at__isnull=True
    )
    _close(gone, coded("out_of_service", day=day), now)


def close_moved(*, visit_id: uuid.UUID, appliance: Appliance, now: datetime) -> None:
    """The visit was another appliance's: what it opened here is closed, but for what only a person may close."""
    opened = Flag.objects.filter(appliance=appliance, visit=visit_id, kind=Flag.Kind.OUTSIDE, closed_at__isnull=True)
    _close(opened, coded("visit_moved"), now)


def open_unsafe_unread(*, appliance: Appliance, unreadable_id: uuid.UUID, now: datetime) -> None:
    """A message that can't be read calls the appliance unsafe: that much is acted on at once."""
    put_flag(
        appliance=appliance, visit=None, kind=Flag.Kind.UNSAFE, key=f"held {unreadable_id}",
        figures={"unreadable_record": str(unreadable_id)}, now=now,
    )  # fmt: skip
    jobs.request_job(kind="refresh_appliance", key=str(appliance.id), due_at=now)


def put_flag(
    *,
    appliance: Appliance,
    visit: Visit | None,
    kind: str,
    key: str,
    figures: dict[str, Any],
    now: datetime,
    sentence: str = "",
) -> Flag:
    """Open the flag, or bring the open one for the same reason up to date.

    sentence : what a person wrote of it; all else is said from `figures` by `presentation.follow_ups`.
    """
    values = {"sentence": sentence, "figures": figures, "updated_at": now, "visit": visit}
    flag, opened = Flag.objects.get_or_create(
        appliance=appliance, kind=kind, key=key, closed_at__isnull=True, defaults=values | {"opened_at": now}
    )
    changed = not opened and (flag.sentence, flag.figures) != (sentence, figures)
    if changed and kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP):
        # Whoever answered for it answered for what it was.
        values |= {"acknowledged_at": None, "acknowledged_by": None, "acknowledged_note": ""}
    if changed:
        Flag.objects.filter(id=flag.id).update(**values, version=F("version") + 1)
        flag.refresh_from_db()
    if (opened or changed) and kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP):
        jobs.request_job(kind="alert_on_flag", key=str(flag.id), due_at=now)
    return flag


def put_drift_flags(*, appliance_ids: Sequence[uuid.UUID], cases: Sequence[DriftCase], now: datetime) -> None:
    """Open, bring up to date or close the drift flags of these appliances; a series that has no case has ended.

    In few statements however many appliances. An open flag that somebody else opened meanwhile stays.
    """
    still_open = Flag.objects.filter(appliance__in=list(appliance_ids), kind=Flag.Kind.DRIFT, closed_at__isnull=True)
    standing = {(each.appliance_id, each.key): each for each in still_open}
    known = {(each.appliance_id, each.key): each for each in cases}
    likely = {key: each for key, each in known.items() if each.is_flagged}
    Flag.objects.bulk_create(
        [_drift_flag(each, now) for key, each in likely.items() if key not in standing], ignore_conflicts=True
    )
    changed, ended = [], []
    for key, flag in standing.items():
        if key not in likely:
            ended.append(_closed_drift(flag, known.get(key), now))
        elif flag.figures != likely[key].figures:
            flag.figures = likely[key].figures
            changed.append(flag)
    _write(changed, ["figures"], now)
    _write(ended, ["closed_at", "closed_figures"], now)


def _drift_flag(case: DriftCase, now: datetime) -> Flag:
    return Flag(
        appliance_id=case.appliance_id, kind=Flag.Kind.DRIFT, key=case.key, figures=case.figures, opened_at=now,
        updated_at=now,
    )  # fmt: skip


def _closed_drift(flag: Flag, case: DriftCase | None, now: datetime) -> Flag:
    flag.closed_at, flag.closed_figures = now, {"why": "series_ended"}
    if case:
        flag.closed_figures = case.figures | {"why": "from_assumptions" if case.from_assumptions else "chance_fell"}
    return flag


def _write(flags: list[Flag], fields: list[str], now: datetime) -> None:
    """One statement; what a person has closed meanwhile stays closed as they said."""
    for flag in flags:
        flag.updated_at, flag.version = now, flag.version + 1
    if flags:
        Flag.objects.filter(closed_at__isnull=True).bulk_update(flags, [*fields, "updated_at", "version"])


def acknowledge_flag(*, flag: Flag, version: int, note: str, actor: User, now: datetime) -> Flag:
    """A named person answers for it. Alerts and escalation stop; the flag stays open."""
    changes = {"acknowledged_at": now, "acknowledged_by": actor, "acknowledged_note": note}
    return change_row(row=flag, version=version, changes=changes, still=Q(closed_at__isnull=True))


@transaction.atomic
def close_flag(*, flag: Flag, version: int, why: str, actor: User, now: datetime) -> Flag:
    """Close by hand. Unsafe and stop level only by a qualified person, with an as-left test after it or removal."""
    if not why.strip():
        raise FleetError("invalid", "Closing a flag needs its reason.", errors={"why": coded("say_why")})
    if flag.kind in (Flag.Kind.UNSAFE, Flag.Kind.STOP):
        _check_may_close_unsafe(flag, actor, now)
    changes = {"closed_at": now, "closed_by": actor, "closed_why": why, "updated_at": now}
    change_row(row=flag, version=version, changes=changes, still=Q(closed_at__isnull=True))
    jobs.request_job(kind="refresh_appliance", key=str(flag.appliance_id), due_at=now)
    return flag


def _check_may_close_unsafe(flag: Flag, actor: User, now: datetime) -> None:
    person = Person.objects.filter(user=actor).prefetch_related("qualifications").first()
    today = flag.appliance.building.today(now)
    kind = fuel_kind(flag.appliance.burns_on(today).name)
    if not may_change(actor, "stop_flags_closed") or not (person and person.is_qualified(kind, today)):
        raise Forbidden("not_qualified", "Only a person qualified for %(kind)s may close this.", figures={"kind": kind})
    removed = flag.appliance.in_service_to is not None and flag.appliance.in_service_to <= today
    if not (removed or flag.figures.get("put_right") or _is_anothers(flag) or _was_tested_since(flag, now)):
        raise FleetError(
            "no_test_since", "It needs a test as left after it, with CO judged within, or the appliance's removal."
        )


def _is_anothers(flag: Flag) -> bool:
    """A correction moved the visit to an appliance that shares nothing with this one."""
    if flag.visit is None or flag.visit.appliance_id == flag.appliance_id:
        return False
    flue = flag.appliance.flue_group_id
    return flue is None or flag.visit.appliance.flue_group_id != flue


def _was_tested_since(flag: Flag, now: datetime) -> bool:
    """A later visit that proves it, not declared unsafe, left with CO judged within as left and nothing at stop
    level."""
    since = flag.visit.last_moment if flag.visit else flag.opened_at
    visits = flag.appliance.visits.filter(unsafe=False, readings__counted_phase="as_left").distinct()
    return any(
        since < each.last_moment <= now + timedelta(days=1)
        and _left_with_co_within(each.judgement)
        and not no_evidence(each)
        for each in visits.select_related("judgement", "attendance").prefetch_related("readings")
    )


def _left_with_co_within(judgement: Judgement) -> bool:
    left = standing(judgement.said)
    stopped = any(each.stop and each.outcome == "outside" for each in left)
    co_within = any(
        each.kind == "stop_level" and each.quantity == "co_ppm_air_free" and each.outcome == "within"
        for each in left
        if each.phase == "as_left"
    )
    return co_within and not stopped
