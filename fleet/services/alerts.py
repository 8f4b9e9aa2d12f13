"""Alerts: stop level told at once, one by one, again and further up until somebody answers; the rest once a day.

Sending happens outside any transaction; that it was sent is kept together with the job's `done`. A worker that dies
between the two sends again: a message comes at least once, and its Message-ID, the job's id, says which one it is.
"""

import uuid
from collections.abc import Callable
from datetime import datetime, time
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

import structlog
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import F

from fleet.assess.due.alerts import (
    ALERTED_ONE_BY_ONE,
    alert_settings_of,
    is_answered,
    ladder_of,
    may_be_alerted,
    present_round,
    round_begins,
    summary_readers,
    unalerted_flags,
)
from fleet.coded import coded, wrong
from fleet.errors import Conflict, FleetError
from fleet.models import Alert, AlertSettings, Flag, Job, OnCall, User
from fleet.models.buildings import check_time_zone
from fleet.presentation.alerts import flag_message, summary_message
from fleet.queries.alerts import summary_items
from fleet.services import jobs
from fleet.services.access import change_email
from fleet.services.register import change_entry, change_row, create_entry

log = structlog.get_logger()
Effect = Callable[[], object]
Clock = Callable[[], datetime]


# ---- alerts of a flag ----


@transaction.atomic
def plan_alerts(*, flag: Flag, now: datetime) -> list[Alert]:
    """Rows for the round that has begun and the one after it, a job for each; and a job for when that one begins.

    Nothing where the flag is answered or closed. Safe to call any number of times.
    """
    if flag.kind not in ALERTED_ONE_BY_ONE or is_answered(flag):
        return []
    steps = ladder_of(flag)
    if not steps:
        log.error("nobody_to_tell", flag=str(flag.id), kind=flag.kind)
        return []
    present, planned = present_round(flag, now), []
    for number in (present, present + 1):
        begins = round_begins(steps, flag.updated_at, number)
        for step in steps:
            due_at = begins + step.after if number == 0 else begins
            planned.append(_put_alert(flag, number, step.user, due_at))
    jobs.request_job(kind="alert_on_flag", key=str(flag.id), due_at=round_begins(steps, flag.updated_at, present + 1))
    return planned


def _put_alert(flag: Flag, number: int, user: User, due_at: datetime) -> Alert:
    alert, made = Alert.objects.get_or_create(
        flag=flag, alerted_from=flag.updated_at, round=number, user=user, way=Alert.Way.EMAIL,
        defaults={"due_at": due_at},
    )  # fmt: skip
    if made:
        jobs.request_job(kind="send_alert", key=str(alert.id), due_at=due_at)
    return alert


def send_alert(*, alert: Alert, job_id: uuid.UUID, clock: Clock) -> Effect:
    """Send it, unless it is no longer needed; gives what is to be kept. Raises what the mail server raises.

    clock : tells the present moment. It counts as sent when the mail server had taken it, however long that took.
    """
    if why := _why_not(alert):
        return partial(_keep, alert, not_needed=why)
    message = flag_message(flag=alert.flag, alert=alert, job_id=job_id)
    try:
        message.send()
    except Exception as bad:
        # The server's own words may name the address: they stay with the job, which only managers see.
        Alert.objects.filter(id=alert.id).update(tries=F("tries") + 1, failure=type(bad).__name__)
        raise
    return partial(_keep, alert, sent_at=clock(), tries=F("tries") + 1, failure="")


def _why_not(alert: Alert) -> str:
    flag = alert.flag
    if alert.sent_at:
        return "sent_already"
    if flag.closed_at:
        return "flag_closed"
    if is_answered(flag):
        return "answered"
    if flag.updated_at != alert.alerted_from:
        return "newer_state"
    return "" if may_be_alerted(alert.user, flag) else "account_out"


def _keep(alert: Alert, **values: Any) -> None:
    Alert.objects.filter(id=alert.id, sent_at__isnull=True).update(**values)


def plan_all_unalerted(*, now: datetime) -> None:
    """Flags at stop level that nobody answers for and nobody will be told about: somebody may have come meanwhile."""
    for flag in unalerted_flags().select_related("appliance__building"):
        if ladder_of(flag):
            jobs.request_job(kind="alert_on_flag", key=str(flag.id), due_at=now)


# ---- the daily summary ----


def plan_daily_summaries(*, now: datetime) -> None:
    """A job for everybody whose hour of their own day has begun and who has none of that day yet."""
    for user in summary_readers():
        choice = alert_settings_of(user)
        local = now.astimezone(ZoneInfo(choice.time_zone or settings.TIME_ZONE))
        begins = datetime.combine(local.date(), time(choice.hour), local.tzinfo)
        if local >= begins:
            key = f"{user.id} {local:%Y-%m-%d}"
            if not Job.objects.filter(kind="daily_summary", key=key).exists():
                jobs.request_job(kind="daily_summary", key=key, due_at=now)


def send_daily_summary(*, user: User, job_id: uuid.UUID, clock: Clock) -> Effect:
    """Send what is new since the last one, nothing where nothing is; gives what is to be kept."""
    choice = alert_settings_of(user)
    if not (user.is_active and user.email and choice.daily_summary):
        return _nothing
    zone = ZoneInfo(choice.time_zone or settings.TIME_ZONE)
    items = summary_items(user, clock().astimezone(zone).date())
    known = set(choice.told)
    new = [each for each in items if each.mark not in known]
    if new:
        summary_message(user=user, items=new, job_id=job_id).send()
    standing = sorted({each.mark for each in items})
    if not new and standing == sorted(known):
        return _nothing
    return partial(_keep_daily_summary, user, standing, clock() if new else choice.daily_summary_sent_at)


def _nothing() -> None:
    """Nothing was sent and nothing is to be kept."""


def _keep_daily_summary(user: User, told: list[str], sent_at: datetime | None) -> None:
    AlertSettings.objects.update_or_create(user=user, defaults={"told": told, "daily_summary_sent_at": sent_at})


# ---- choices ----


@transaction.atomic
def change_own_alerts(*, user: User, version: int, changes: dict[str, Any], now: datetime) -> AlertSettings:
    """One's own address, and whether, when and where the daily summary comes.

    changes: email, daily_summary, hour, time_zone.

    Raises FleetError `invalid` naming each field, Conflict where it changed meanwhile.
    """
    _check_choice(changes)
    own, _new = AlertSettings.objects.get_or_create(user=user)
    columns = {name: value for name, value in changes.items() if name != "email"}
    change_row(row=own, version=version, changes=columns)
    change_email(user=user, email=changes.get("email", user.email), actor=user, now=now)
    plan_all_unalerted(now=now)
    return own


def _check_choice(changes: dict[str, Any]) -> None:
    errors = {}
    if email := changes.get("email"):
        try:
            validate_email(email)
        except ValidationError:
            errors["email"] = wrong("email", email)
    if not 0 <= changes.get("hour", 0) <= 23:
        errors["hour"] = wrong("whole_between", changes["hour"], low=0, high=23)
    if zone := changes.get("time_zone"):
        try:
            check_time_zone(zone)
        except ValidationError:
            errors["time_zone"] = wrong("time_zone", zone)
    if errors:
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors)


@transaction.atomic
def put_on_call(*, values: dict[str, Any], now: datetime) -> OnCall:
    """Put somebody on the list: user, after_minutes. Raises FleetError `invalid` where they are on it already."""
    if OnCall.objects.filter(user=values["user"]).exists():
        raise FleetError("invalid", "Nobody is on the list twice.", errors={"user": coded("on_the_list")})
    _check_minutes(values["after_minutes"])
    entry = create_entry(model=OnCall, values=values)
    plan_all_unalerted(now=now)
    return entry


def change_on_call(*, entry: OnCall, version: int, after_minutes: int) -> OnCall:
    """Move somebody on the list; what is planned already stays as planned."""
    _check_minutes(after_minutes)
    return change_entry(entry=entry, version=version, changes={"after_minutes": after_minutes})


def _check_minutes(minutes: int) -> None:
    if not 0 <= minutes <= 240:
        errors = {"after_minutes": wrong("whole_between", minutes, low=0, high=240)}
        raise FleetError("invalid", "That is too late for a stop-level finding.", errors=errors)


def take_off_call(*, entry: OnCall, version: int) -> None:
    """Off the list. Raises Conflict where it was changed meanwhile."""
    gone, _tables = OnCall.objects.filter(id=entry.id, version=version).delete()
    if not gone:
        raise Conflict("changed_meanwhile", "The list was changed meanwhile; read it again.")


# ---- jobs ----


def alert_on_flag_job(*, job: Job, now: datetime) -> Effect:
    flag = Flag.objects.select_related("appliance__building").get(id=job.key)
    return partial(plan_alerts, flag=flag, now=now)


def send_alert_job(*, job: Job, clock: Clock) -> Effect:
    related = Alert.objects.select_related("flag__appliance__building", "user")
    return send_alert(alert=related.get(id=job.key), job_id=job.id, clock=clock)


def daily_summary_job(*, job: Job, clock: Clock) -> Effect:
    user = User.objects.get(id=job.key.split(" ")[0])
    return send_daily_summary(user=user, job_id=job.id, clock=clock)


@transaction.atomic
def plan_messages(*, now: datetime) -> None:
    """The timetable's: daily summaries that are due, and flags that nobody could be told about so far."""
    plan_daily_summaries(now=now)
    plan_all_unalerted(now=now)
