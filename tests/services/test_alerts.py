"""Notices: stop level told at once, further up and again until somebody answers; the rest once a day, if it is new."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from smtplib import SMTPServerDisconnected
from typing import Any

import pytest
from django.core import mail
from django.utils import timezone
from pytest_django.fixtures import Settings

from fleet import tasks
from fleet.assess.due.alerts import alerted_about, ladder_of, round_begins
from fleet.errors import Conflict, FleetError
from fleet.models import (
    Alert,
    AlertSettings,
    Analyser,
    Appliance,
    AuditEntry,
    Defect,
    Delivery,
    Flag,
    Job,
    LimitSet,
    OnCall,
    Person,
    Role,
    User,
)
from fleet.presentation.alerts import alert_failure_words
from fleet.queries.alerts import summary_items
from fleet.services import alerts
from fleet.services.flags import acknowledge_flag, put_flag
from tests import cast
from tests.cast import NOON, store
from tests.intake.refused import said_of
from tests.web.world import add_yearly_required_check, called_unsafe, visited

QUARTER = timedelta(minutes=15)
RunAt = Callable[[datetime], None]


@pytest.fixture
def run_at(settings: Settings) -> RunAt:
    """run_at(when): everything about notices that is due by then is done then."""

    def run(when: datetime) -> None:
        settings.CLOCK_OFFSET = when - timezone.now()
        kinds = ("alert_on_flag", "send_alert", "daily_summary", "tell_old_address")
        while due := Job.objects.filter(state="waiting", kind__in=kinds, due_at__lte=when).order_by("due_at").first():
            tasks.run_job(due.id)

    return run


@pytest.fixture
def dispatcher(dispatcher: User) -> User:
    return _with_address(dispatcher)


@pytest.fixture
def manager(manager: User) -> User:
    return _with_address(manager)


def _with_address(user: User) -> User:
    user.email = f"{user.username.replace(' ', '.')}@heating.example"
    user.save()
    return user


@pytest.fixture
def flag(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User, run_at: RunAt
) -> Flag:
    return called_unsafe(boiler, person, analyser, technician)


def sent_to() -> list[str]:
    return [each.to[0].split("@")[0] for each in mail.outbox]


def call(user: User, after_minutes: int) -> OnCall:
    return alerts.put_on_call(values={"user": user, "after_minutes": after_minutes}, now=NOON)


# ---- stop level ----


def test_dispatchers_and_managers_are_told_at_once_one_by_one(flag: Flag, run_at: RunAt) -> None:
    run_at(NOON)
    assert sorted(sent_to()) == ["dispatcher", "manager"]
    assert all(len(each.recipients()) == 1 for each in mail.outbox)


def test_the_message_says_what_where_and_the_cautions(flag: Flag, run_at: RunAt, settings: Settings) -> None:
    settings.PUBLIC_ADDRESS = "https://heating.example"
    run_at(NOON)
    message = mail.outbox[0]
    assert message.subject == "Unsafe: Boiler 1, Weir House: spilling into the room"
    assert f"https://heating.example/#flag-{flag.id}" in message.body
    assert "Nothing here declares an appliance safe" in message.body
    assert "On a gas smell: leave" in message.body and "call from outside: 000." in message.body
    assert "Listed since 2 March 2026, 12:00 (Europe/Lisbon)." in message.body
    for private in ("Ada Test", "technician", "caretaker", "1 Test Lane", "Weir Trust"):
        assert private not in message.body + message.subject


def test_the_jobs_id_names_the_message_at_every_try(flag: Flag, run_at: RunAt) -> None:
    run_at(NOON)
    jobs = {str(each) for each in Job.objects.filter(kind="send_alert", state="done").values_list("id", flat=True)}
    assert {each.extra_headers["X-Fleet-Job"] for each in mail.outbox} == jobs
    assert all(
        each.extra_headers["Message-ID"].startswith(f"<{each.extra_headers['X-Fleet-Job']}@") for each in mail.outbox
    )


def test_it_is_told_again_with_growing_gaps_until_somebody_answers(flag: Flag, run_at: RunAt, dispatcher: User) -> None:
    told = []
    for minutes in (0, 14, 15, 44, 45, 104, 105):
        run_at(NOON + timedelta(minutes=minutes))
        told.append(len(mail.outbox))
    assert told == [2, 2, 4, 4, 6, 6, 8]
    assert "This is alert number 4 to you about it: nobody" in mail.outbox[-1].body
    acknowledge_flag(flag=flag, version=flag.version, note="", actor=dispatcher, now=NOON + timedelta(minutes=110))
    run_at(NOON + timedelta(days=2))
    assert len(mail.outbox) == 8
    assert not Job.objects.filter(state="waiting", kind__in=("alert_on_flag", "send_alert")).exists()


def test_the_list_is_gone_through_in_its_order_and_ends_with_the_managers(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User, manager: User,
    run_at: RunAt,
) -> None:  # fmt: skip
    second = _with_address(cast.make_user("night", Role.DISPATCHER))
    call(dispatcher, 5)
    call(second, 25)
    called_unsafe(boiler, person, analyser, technician)
    who = []
    for minutes in (0, 19, 20, 34, 35, 49, 50):
        mail.outbox.clear()
        run_at(NOON + timedelta(minutes=minutes))
        who.append(sorted(sent_to()))
    assert who == [["dispatcher"], [], ["night"], [], ["manager"], [], ["dispatcher", "manager", "night"]]


def test_who_can_not_be_told_holds_nobody_up(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User, manager: User,
    run_at: RunAt,
) -> None:  # fmt: skip
    call(cast.make_user("without address", Role.DISPATCHER), 0)
    call(_with_address(cast.make_user("elsewhere", Role.DISPATCHER, sees_all_clients=False)), 0)
    call(dispatcher, 30)
    called_unsafe(boiler, person, analyser, technician)
    run_at(NOON)
    assert sent_to() == ["dispatcher"]


def test_a_worse_finding_is_told_anew_and_again_until_somebody_answers_for_it_too(
    flag: Flag, run_at: RunAt, dispatcher: User
) -> None:
    run_at(NOON)
    acknowledge_flag(flag=flag, version=flag.version, note="", actor=dispatcher, now=NOON)
    later = NOON + timedelta(hours=1)
    worse = put_flag(appliance=flag.appliance, visit=flag.visit, kind=flag.kind, key=flag.key, sentence="worse",
                     figures={}, now=later)  # fmt: skip
    assert (worse.acknowledged_at, worse.acknowledged_by) == (None, None)
    run_at(later)
    assert [each.subject.rpartition(": ")[2] for each in mail.outbox[2:]] == ["worse", "worse"]
    run_at(later + QUARTER)
    assert len(mail.outbox) == 6
    acknowledge_flag(flag=worse, version=worse.version, note="", actor=dispatcher, now=later + QUARTER)
    run_at(later + timedelta(days=1))
    assert len(mail.outbox) == 6


def test_a_flag_that_nobody_answers_for_is_still_told_after_a_month(flag: Flag, run_at: RunAt) -> None:
    """Rounds go on however many there were, a few hours apart."""
    month = flag.updated_at + timedelta(days=30)
    steps = ladder_of(flag)
    number = 0
    while round_begins(steps, flag.updated_at, number + 1) <= month:
        number += 1
    assert timedelta() < round_begins(steps, flag.updated_at, number + 1) - month <= timedelta(hours=4)
    planned = alerts.plan_alerts(flag=flag, now=month)
    assert {each.round for each in planned} == {number, number + 1}


def test_a_flag_outside_a_limit_is_not_told_one_by_one(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    assert Flag.objects.filter(kind="outside_a_limit").exists()
    assert not Job.objects.filter(kind="alert_on_flag").exists()


def test_what_the_mail_server_refuses_is_shown_and_tried_again_alone(
    flag: Flag, run_at: RunAt, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, refused = mail.EmailMessage.send, []

    def send(message: mail.EmailMessage, *given: Any, **named: Any) -> int:
        if message.to[0].startswith("manager") and not refused:
            refused.append(message.to[0])
            raise SMTPServerDisconnected("gone, manager@heating.example")
        return real(message, *given, **named)

    monkeypatch.setattr(mail.EmailMessage, "send", send)
    run_at(NOON)
    failing = alerted_about([flag])[flag.id].failing
    assert [(str(each.user), each.tries, alert_failure_words(each)) for each in failing] == [
        ("manager", 1, "The mail server did not take it (SMTPServerDisconnected).")
    ]
    run_at(NOON + timedelta(seconds=30))
    assert sorted(sent_to()) == ["dispatcher", "manager"]
    assert alerted_about([flag])[flag.id].failing == ()


def test_a_worker_that_dies_after_sending_sends_again_under_the_same_id(flag: Flag, run_at: RunAt) -> None:
    alerts.plan_alerts(flag=flag, now=NOON)
    job = Job.objects.filter(kind="send_alert").earliest("due_at")
    alert = Alert.objects.select_related("flag__appliance__building", "user").get(id=job.key)
    alerts.send_alert(alert=alert, job_id=job.id, clock=lambda: NOON)  # and nothing of it is kept
    run_at(NOON)
    again = [each for each in mail.outbox if each.to == [alert.user.email]]
    assert len(again) == 2
    assert len({each.extra_headers["Message-ID"] for each in again}) == 1


def test_it_counts_as_told_when_the_mail_server_had_taken_it(flag: Flag, monkeypatch: pytest.MonkeyPatch) -> None:
    alerts.plan_alerts(flag=flag, now=NOON)
    alert = Alert.objects.select_related("flag__appliance__building", "user").earliest("due_at")
    moments = [NOON]
    monkeypatch.setattr(mail.EmailMessage, "send", lambda _mail: moments.append(NOON + timedelta(minutes=3)))
    alerts.send_alert(alert=alert, job_id=alert.id, clock=lambda: moments[-1])()
    alert.refresh_from_db()
    assert alert.sent_at == NOON + timedelta(minutes=3)


def test_who_was_told_and_who_is_next(flag: Flag, run_at: RunAt) -> None:
    run_at(NOON)
    about = alerted_about([flag])[flag.id]
    assert sorted(str(each.user) for each in about.told) == ["dispatcher", "manager"]
    assert {each.due_at for each in about.following} == {flag.updated_at + QUARTER}
    assert not about.nobody


def test_nobody_to_tell_is_said_and_made_good_when_somebody_comes(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User, run_at: RunAt
) -> None:
    manager.email = ""
    manager.save()
    flag = called_unsafe(boiler, person, analyser, technician)
    run_at(NOON)
    assert alerted_about([flag])[flag.id].nobody
    assert mail.outbox == []
    changes = {"email": "manager@heating.example"}
    alerts.change_own_alerts(user=manager, version=1, changes=changes, now=NOON)
    run_at(NOON)
    assert sent_to() == ["manager"]


def test_another_address_is_noted_and_the_one_before_is_told(dispatcher: User, run_at: RunAt) -> None:
    User.objects.filter(id=dispatcher.id).update(email="old@heating.example")
    dispatcher.refresh_from_db()
    for version, changes in enumerate([{"email": "new@heating.example"}, {"email": "new@heating.example"}], 1):
        alerts.change_own_alerts(user=dispatcher, version=version, changes=changes, now=NOON)
    assert AuditEntry.objects.get(user=dispatcher).said[0] == "email_changed"
    run_at(NOON)
    (message,) = mail.outbox
    assert message.to == ["old@heating.example"] and "no longer this one" in message.body
    assert "new@heating.example" not in message.body


def test_a_line_break_in_a_name_makes_no_header(flag: Flag, run_at: RunAt) -> None:
    Appliance.objects.update(name="Boiler\r\nBcc: all@example")
    run_at(NOON)
    assert "\n" not in mail.outbox[0].subject
    assert mail.outbox[0].recipients() == mail.outbox[0].to


# ---- the list ----


def test_nobody_is_on_the_list_twice_nor_too_late(dispatcher: User) -> None:
    call(dispatcher, 0)
    for user, minutes in ((dispatcher, 5), (cast.make_user("other", Role.MANAGER), 241)):
        with pytest.raises(FleetError) as refused:
            call(user, minutes)
        assert refused.value.code == "invalid"


def test_the_list_is_changed_by_its_version(dispatcher: User) -> None:
    entry = call(dispatcher, 0)
    assert alerts.change_on_call(entry=entry, version=1, after_minutes=10).after_minutes == 10
    with pytest.raises(Conflict):
        alerts.take_off_call(entry=entry, version=1)
    alerts.take_off_call(entry=entry, version=2)
    assert not OnCall.objects.exists()


# ---- the daily summary ----


def test_the_summary_comes_at_ones_own_hour_once_a_day(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User, run_at: RunAt
) -> None:
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    changes = {"hour": 9, "time_zone": "Asia/Tokyo"}
    alerts.change_own_alerts(user=dispatcher, version=1, changes=changes, now=NOON)
    # Nine in Tokyo is midnight in UTC.
    midnight = NOON.replace(hour=0) + timedelta(days=1)
    for when in (midnight - timedelta(minutes=1), midnight, midnight + QUARTER):
        alerts.plan_daily_summaries(now=when)
        run_at(when)
    assert sent_to().count("dispatcher") == 1
    body = next(each for each in mail.outbox if each.to == [dispatcher.email]).body
    assert "Outside a limit (1)" in body
    assert "Boiler 1, Weir House: " in body


def daily_summary(user: User, when: datetime) -> None:
    job = Job(kind="daily_summary", key=f"{user.id} {when:%Y-%m-%d}")
    alerts.daily_summary_job(job=job, clock=lambda: when)()


def test_nothing_is_sent_where_nothing_is_new(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    for day in range(3):
        daily_summary(dispatcher, NOON + timedelta(days=day))
    assert len(mail.outbox) == 1


def test_a_required_check_is_told_when_it_comes_near_and_again_when_it_is_late(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User
) -> None:
    add_yearly_required_check(boiler, dispatcher)
    visited(boiler, person, analyser, technician)
    daily_summary(dispatcher, NOON)
    mail.outbox.clear()
    due = NOON + timedelta(days=365)
    subjects = []
    for days in (-22, -21, -20, 0, 1, 2):
        daily_summary(dispatcher, due + timedelta(days=days))
        subjects.append([each.subject for each in mail.outbox])
        mail.outbox.clear()
    assert subjects[0] == [] and subjects[2] == [] and subjects[3] == [] and subjects[5] == []
    assert "required checks due within three weeks 1" in subjects[1][0]
    assert "required checks overdue 1" in subjects[4][0]


def test_a_record_not_delivered_and_a_defect_not_repaired_by_their_day_are_told(
    body: dict[str, Any], boiler: Appliance, technician: User, dispatcher: User
) -> None:
    defect = {"what": "Flue bracket loose", "severity": "repair", "repair_by": "2026-03-10"}
    visit = store(body | {"defects": [defect]}, technician)
    Defect.objects.update(due=date(2026, 3, 10))
    limit_set = LimitSet.objects.get(key="demo-neutral")
    Delivery.objects.create(visit=visit, limit_set=limit_set, recipient="client", due=date(2026, 3, 20), opened_at=NOON)
    told = {each.sentence for each in summary_items(dispatcher, date(2026, 3, 21)) if each.section == "Overdue"}
    place = f"{boiler.name}, {boiler.building.name}"
    assert f"{place}: Flue bracket loose, to be repaired by 10 March 2026." in told
    assert f"{place}: the record was to reach client by 20 March 2026." in told
    before = [each.sentence for each in summary_items(dispatcher, date(2026, 3, 10))]
    assert not any("Flue bracket" in each or "to reach client" in each for each in before)


def test_stop_level_that_nobody_answers_for_is_in_every_summary(flag: Flag, dispatcher: User) -> None:
    for day in range(2):
        daily_summary(dispatcher, NOON + timedelta(days=day))
    assert ["still open at stop level 1" in each.subject for each in mail.outbox] == [True, True]


def test_failed_work_reaches_managers_alone(dispatcher: User, manager: User) -> None:
    Job.objects.create(kind="refit", key="x", due_at=NOON, state="failed", tries=8, finished_at=NOON)
    daily_summary(dispatcher, NOON)
    daily_summary(manager, NOON)
    assert sent_to() == ["manager"]
    assert "Learn drift anew, after 8 tries." in mail.outbox[0].body


def test_a_summary_holds_only_what_its_reader_may_see(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    stranger = _with_address(cast.make_user("elsewhere", Role.DISPATCHER, sees_all_clients=False))
    daily_summary(stranger, NOON)
    assert not any("Boiler 1" in each.body for each in mail.outbox)


def test_who_opted_out_gets_none(boiler: Appliance, dispatcher: User, flag: Flag) -> None:
    alerts.change_own_alerts(user=dispatcher, version=1, changes={"daily_summary": False}, now=NOON)
    alerts.plan_daily_summaries(now=NOON)
    keys = Job.objects.filter(kind="daily_summary").values_list("key", flat=True)
    assert not [each for each in keys if each.startswith(str(dispatcher.id))]
    daily_summary(dispatcher, NOON)
    assert mail.outbox == []


@pytest.mark.parametrize(("field", "value"), [("email", "nobody"), ("hour", 24), ("time_zone", "Nowhere/Land")])
def test_a_choice_that_can_not_be_is_refused_by_its_field(dispatcher: User, field: str, value: Any) -> None:
    with pytest.raises(FleetError) as refused:
        alerts.change_own_alerts(user=dispatcher, version=1, changes={field: value}, now=NOON)
    assert list(said_of(refused.value)) == [field]
    assert not AlertSettings.objects.filter(user=dispatcher).exists()
