"""Webhooks: each event once in its scope, signed, in order, until it arrives; and nowhere that nobody allowed."""

import hashlib
import hmac
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import suppress
from datetime import date, datetime, timedelta
from http.server import BaseHTTPRequestHandler
from typing import Any

import pytest

from fleet import tasks, web_addresses
from fleet.errors import FleetError, Forbidden, NotFound
from fleet.intake.visits import read_visit
from fleet.models import (
    Analyser,
    Appliance,
    Client,
    EventKind,
    Flag,
    HookDelivery,
    Job,
    LimitSet,
    Person,
    RequiredCheck,
    Role,
    User,
    Webhook,
)
from fleet.presentation.webhooks import failure_words, secret_of, signature
from fleet.queries.webhooks import visible_hooks
from fleet.services import jobs, webhooks
from fleet.services.flags import acknowledge_flag, close_flag
from fleet.services.limit_sets import assign_limit_set
from fleet.services.revisit_days import book_day, release_day
from fleet.services.visits import record_visit
from tests import cast
from tests.cast import NOON, make_appliance, make_building, propose_revisit
from tests.intake.refused import said_of
from tests.services.receiver import Receiver, plain, receiving
from tests.web.world import add_yearly_required_check, visited

ALL = list(EventKind.values)
MINUTE = timedelta(minutes=1)
EXAMPLE = "a438e398bfafc57e4396bb7fc2304422f0f768e965d073ca313cb52e22e6ad03"


@pytest.fixture
def receiver(manager: User) -> Iterator[Receiver]:
    webhooks.allow_target(host="127.0.0.1", why="a test", actor=manager, now=NOON)
    with receiving() as one:
        yield one


@pytest.fixture
def hook(receiver: Receiver, manager: User) -> Webhook:
    return switched_on(receiver.url, manager)


def switched_on(url: str, manager: User, *, kinds: list[str] = ALL, client: Client | None = None) -> Webhook:
    values = {"name": "office", "url": url, "kinds": kinds, "client": client}
    made, _secret = webhooks.add_hook(values=values, actor=manager, now=NOON)
    return webhooks.change_hook(hook=made, version=1, changes={"is_on": True}, actor=manager, now=NOON)


def send(hook: Webhook, now: datetime = NOON + MINUTE) -> None:
    """Gather and send, as the jobs do."""
    hook.refresh_from_db()
    webhooks.gather_events(hook=hook, now=now)
    Job.objects.filter(kind="send_hook").delete()  # it is the one that runs now
    webhooks.send_waiting(hook=hook, clock=lambda: now)()
    hook.refresh_from_db()


def trial(hook: Webhook, now: datetime = NOON + MINUTE) -> HookDelivery:
    delivery = webhooks.send_trial(hook=hook, now=now)
    webhooks.send_waiting(hook=hook, clock=lambda: now)()
    delivery.refresh_from_db()
    return delivery


# ---- what is carried ----


def test_a_visit_and_its_flag_arrive_with_their_ids(
    hook: Webhook, receiver: Receiver, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visit = visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    send(hook)
    bodies = [json.loads(each.body) for each in receiver.got]
    assert sorted(each["event"] for each in bodies) == ["flag_opened", "revisit_changed", "visit_recorded"]
    recorded = next(each for each in bodies if each["event"] == "visit_recorded")
    assert recorded["visit"]["id"] == str(visit.id)
    assert recorded["record"]["sha256"] == visit.record.sha256
    assert {each["appliance"]["id"] for each in bodies} == {str(boiler.id)}
    assert {each["id"] for each in bodies} == {each.headers["Idempotency-Key"] for each in receiver.got}


def test_an_event_is_sent_once_however_often_it_is_looked_for(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], technician: User
) -> None:
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    for minutes in range(1, 4):
        send(hook, NOON + minutes * MINUTE)
    assert [each.headers["Fleet-Event"] for each in receiver.got] == ["visit_recorded"]


def test_what_was_written_late_is_still_found(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], technician: User
) -> None:
    """A transaction that began before a look and ended after it."""
    send(hook, NOON + 2 * MINUTE)
    record_visit(draft=read_visit(body), actor=technician, now=NOON + MINUTE)
    send(hook, NOON + 3 * MINUTE)
    assert len(receiver.got) == 1


def test_a_flag_answered_and_closed_is_told_in_this_order(
    hook: Webhook, receiver: Receiver, boiler: Appliance, person: Person, analyser: Analyser, manager: User,
    technician: User,
) -> None:  # fmt: skip
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    flag = Flag.objects.get(kind="outside_a_limit")
    flag = acknowledge_flag(flag=flag, version=flag.version, note="", actor=manager, now=NOON + MINUTE)
    close_flag(flag=flag, version=flag.version, why="replaced", actor=manager, now=NOON + 2 * MINUTE)
    send(hook, NOON + 3 * MINUTE)
    told = [each.headers["Fleet-Event"] for each in receiver.got if each.headers["Fleet-Event"].startswith("flag")]
    assert told == ["flag_opened", "flag_answered", "flag_closed"]


def test_a_day_set_and_taken_back_is_told_with_who_goes(
    receiver: Receiver, manager: User, boiler: Appliance, person: Person
) -> None:
    add_yearly_required_check(boiler, manager)
    hook = switched_on(receiver.url, manager, kinds=["day_booked", "day_taken_back", "revisit_changed"])
    proposed = propose_revisit(appliance=boiler, now=NOON)
    assert proposed is not None
    send(hook)
    day, then = NOON.date() + timedelta(days=30), NOON + 2 * MINUTE
    set_for = book_day(revisit=proposed, version=proposed.version, state="confirmed", day=day, note="", notice=None,
                      technician=person, actor=manager, now=then)  # fmt: skip
    send(hook, NOON + 3 * MINUTE)
    release_day(revisit=set_for, version=set_for.version, note="sick", actor=manager, now=NOON + 4 * MINUTE)
    for minutes in (5, 6):
        send(hook, NOON + minutes * MINUTE)
    bodies = [json.loads(each.body) for each in receiver.got]
    assert [each["event"] for each in bodies] == ["revisit_changed", "day_booked", "day_taken_back"]
    named = {"id": str(person.id), "name": "Ada Test"}
    told = [(each["revisit"]["state"], each["revisit"]["day"], each["revisit"]["technician"]) for each in bodies]
    assert told == [("proposed", None, None), ("confirmed", day.isoformat(), named), ("proposed", None, None)]
    assert bodies[2]["revisit"]["note"] == "sick"


def counts(receiver: Receiver) -> list[dict[str, Any]]:
    return [json.loads(each.body) for each in receiver.got if each.headers["Fleet-Event"] == "check_counted"]


def test_a_required_check_counted_is_told_once_with_its_visit_and_when_it_is_due_next(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], boiler: Appliance, technician: User
) -> None:
    add_yearly_required_check(boiler, technician)
    visit = record_visit(draft=read_visit(body), actor=technician, now=NOON)
    for minutes in (1, 2):
        send(hook, NOON + minutes * MINUTE)
    (told,) = counts(receiver)
    required_check = RequiredCheck.objects.get()
    assert (told["required_check"]["id"], told["required_check"]["name"], told["appliance"]["id"]) == (
        str(required_check.id), required_check.name, str(boiler.id)
    )  # fmt: skip
    assert (told["required_check"]["counted_on"], told["required_check"]["next_due"]) == ("2026-03-02", "2027-03-02")
    assert (told["visit"]["id"], told["record"]["id"]) == (str(visit.id), str(visit.record_id))
    assert told["required_check"]["words"]


def test_a_visit_that_counts_no_required_check_is_told_as_a_visit_alone(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], boiler: Appliance, manager: User, technician: User
) -> None:
    """Its record lacks what the set asks for."""
    place = {"limit_set": LimitSet.objects.get(key="uk-gsiur-36"), "appliance": boiler, "since": date(2025, 1, 1)}
    assign_limit_set(values=place | {"why": "law"}, actor=manager, now=NOON)
    record_visit(draft=read_visit(body | {"inspection_points": {}}), actor=technician, now=NOON)
    send(hook)
    assert "visit_recorded" in {each.headers["Fleet-Event"] for each in receiver.got}
    assert counts(receiver) == []


def test_a_complete_visit_that_its_rule_does_not_count_counts_nothing(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], boiler: Appliance, manager: User, technician: User
) -> None:
    """It has every field, but the check is asked for from 2030 on."""
    boiler.facts = boiler.facts | {"installation_on": "2015-01-01"}
    boiler.save()
    place = {"limit_set": LimitSet.objects.get(key="de-geg-60b"), "appliance": boiler, "since": date(2025, 1, 1)}
    assign_limit_set(values=place | {"why": "law"}, actor=manager, now=NOON)
    inspection_points = cast.INSPECTION_POINTS | {"heating_check_result": "report of 2 March 2026"}
    record_visit(draft=read_visit(body | {"inspection_points": inspection_points}), actor=technician, now=NOON)
    send(hook)
    assert "visit_recorded" in {each.headers["Fleet-Event"] for each in receiver.got}
    assert counts(receiver) == []


def test_an_older_visit_that_arrives_late_counts_nothing_anew(
    receiver: Receiver, manager: User, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    add_yearly_required_check(boiler, technician)
    cast.store(cast.visit_body(boiler, person, analyser), technician, NOON - timedelta(days=1))
    hook = switched_on(receiver.url, manager, kinds=["check_counted"])
    cast.store(cast.visit_body(boiler, person, analyser, day="2026-01-10"), technician, NOON)
    send(hook)
    assert receiver.got == []


def test_only_the_kinds_that_were_asked_for(
    receiver: Receiver, manager: User, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    hook = switched_on(receiver.url, manager, kinds=["flag_opened"])
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    send(hook)
    assert [each.headers["Fleet-Event"] for each in receiver.got] == ["flag_opened"]


def test_a_hook_of_a_client_carries_nothing_of_another(
    receiver: Receiver, manager: User, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    other = Client.objects.create(name="Mill Trust")
    hook = switched_on(receiver.url, manager, client=other)
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    theirs = make_appliance(make_building(other, "Mill House"), boiler.sheet, "Boiler 9")
    visited(theirs, person, analyser, technician, left=("10.30", "9.10"))
    send(hook)
    assert len(receiver.got) == 3
    assert {json.loads(each.body)["client"] for each in receiver.got} == {str(other.id)}
    assert not any(str(boiler.id).encode() in each.body for each in receiver.got)


def test_it_is_off_until_somebody_switches_it_on_and_carries_nothing_from_before(
    receiver: Receiver, manager: User, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    values = {"name": "office", "url": receiver.url, "kinds": ALL, "client": None}
    made, _secret = webhooks.add_hook(values=values, actor=manager, now=NOON - MINUTE)
    visited(boiler, person, analyser, technician)
    webhooks.feed_hooks(now=NOON)
    assert not HookDelivery.objects.exists()
    webhooks.change_hook(hook=made, version=1, changes={"is_on": True}, actor=manager, now=NOON + MINUTE)
    send(made, NOON + 2 * MINUTE)
    assert receiver.got == []


def test_the_timetable_gathers_for_every_hook_that_is_on(hook: Webhook, body: dict[str, Any], technician: User) -> None:
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    webhooks.feed_hooks(now=NOON + MINUTE)
    assert Job.objects.filter(kind="send_hook", key=str(hook.id), state="waiting").count() == 1


def test_a_hook_that_cannot_be_fed_holds_up_no_other_and_is_fed_the_next_time(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], technician: User, manager: User,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    other = switched_on(receiver.url, manager)
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    Job.objects.all().delete()
    ask = webhooks._ask_to_send

    def breaks_for_the_first(one: Webhook, now: datetime) -> None:
        if one == hook:
            raise ValueError("something odd in its events")
        ask(one, now)

    monkeypatch.setattr(webhooks, "_ask_to_send", breaks_for_the_first)
    jobs.request_job(kind="feed_hooks", key="once", due_at=NOON)
    job = Job.objects.get(kind="feed_hooks")
    assert tasks.run_job(job.id)
    job.refresh_from_db()
    assert (job.state, job.progress) == ("done", "could not be fed: office")
    assert {each.hook for each in HookDelivery.objects.all()} == {other}
    assert [each.key for each in Job.objects.filter(kind="send_hook")] == [str(other.id)]
    monkeypatch.undo()
    assert webhooks.feed_hooks(now=NOON + MINUTE) == []
    assert {each.hook for each in HookDelivery.objects.all()} == {hook, other}


# ---- the signature ----


def test_the_signature_is_of_timestamp_and_body_under_the_secret_that_was_shown(
    receiver: Receiver, manager: User
) -> None:
    values = {"name": "office", "url": receiver.url, "kinds": ALL, "client": None}
    hook, secret = webhooks.add_hook(values=values, actor=manager, now=NOON)
    trial(hook)
    got = receiver.got[0]
    signed = got.headers["Fleet-Timestamp"].encode() + b"." + got.body
    expected = hmac.new(secret.encode(), signed, hashlib.sha256).hexdigest()
    assert hmac.compare_digest(expected, got.headers["Fleet-Signature"])
    assert got.headers["Fleet-Timestamp"] == str(int((NOON + MINUTE).timestamp()))


def test_the_signature_against_a_worked_example() -> None:
    """Made with OpenSSL: printf '1700000000.{"a":1}' | openssl dgst -sha256 -hmac key."""
    assert signature("key", "1700000000", b'{"a":1}') == EXAMPLE


def test_each_try_is_signed_with_its_own_moment_however_long_those_before_it_took(
    hook: Webhook, receiver: Receiver, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    """A receiver that refuses what was signed more than five minutes ago takes all of a slow run."""
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    webhooks.gather_events(hook=hook, now=NOON + MINUTE)
    passed: list[datetime] = [NOON + MINUTE]

    def slow(handler: BaseHTTPRequestHandler) -> None:
        signed_ago_s = passed[0].timestamp() - int(handler.headers["Fleet-Timestamp"])
        passed[0] += 4 * MINUTE  # before it answers: the sender reads the clock right after
        plain(handler, 200 if 0 <= signed_ago_s <= 300 else 403)

    receiver.answer = slow
    webhooks.send_waiting(hook=hook, clock=lambda: passed[0])()
    began = int((NOON + MINUTE).timestamp())
    assert [int(each.headers["Fleet-Timestamp"]) for each in receiver.got] == [began, began + 240, began + 480]
    for got in receiver.got:
        said = got.headers["Fleet-Timestamp"]
        assert got.headers["Fleet-Signature"] == signature(secret_of(hook), said, got.body)
    tried = list(HookDelivery.objects.order_by("id").values_list("tried_at", flat=True))
    assert tried == [NOON + n * MINUTE for n in (1, 5, 9)]


def test_another_secret_signs_from_then_on_and_none_stands_in_the_database(hook: Webhook, receiver: Receiver) -> None:
    before = secret_of(hook)
    hook, after = webhooks.renew_secret(hook=hook, version=hook.version)
    assert before != after and len(after) == 64
    trial(hook)
    got = receiver.got[0]
    assert got.headers["Fleet-Signature"] == signature(after, got.headers["Fleet-Timestamp"], got.body)
    row = Webhook.objects.filter(id=hook.id).values().get()
    assert not any(secret in str(value) for secret in (before, after) for value in row.values())


# ---- where it may go ----


def test_a_private_target_is_refused_where_nobody_allowed_it(manager: User) -> None:
    with receiving() as one:
        with pytest.raises(FleetError) as refused:
            switched_on(one.url.replace("http:", "https:"), manager)
        assert list(said_of(refused.value)) == ["url"]
        assert one.got == []


def test_what_is_taken_off_the_list_is_refused_from_the_next_try_on(
    hook: Webhook, receiver: Receiver, manager: User
) -> None:
    assert trial(hook).sent_at
    webhooks.disallow_target(target=webhooks.AllowedTarget.objects.get(), actor=manager)
    delivery = trial(hook)
    assert len(receiver.got) == 1
    assert delivery.given_up and "allowed by name" in failure_words(delivery.failure)


def test_a_name_that_means_another_address_a_moment_later_changes_nothing(
    receiver: Receiver, manager: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Checked as public, then this machine: the connection still goes to the address that was checked."""
    asked: list[str] = []
    connected: list[tuple[str, int]] = []

    def resolve(host: str, _port: int) -> list[str]:
        asked.append(host)
        return ["8.8.8.8"] if len(asked) == 1 else ["127.0.0.1"]

    def connect(address: tuple[str, int], timeout: float) -> Any:
        connected.append(address)
        raise ConnectionRefusedError("not in a test")

    monkeypatch.setattr(web_addresses, "resolve", resolve)
    monkeypatch.setattr(web_addresses.socket, "create_connection", connect)
    delivery = trial(switched_on(f"https://rebinding.example:{receiver.port}/in", manager))
    assert asked == ["rebinding.example"]
    assert connected == [("8.8.8.8", receiver.port)]
    assert receiver.got == [] and "(ConnectionRefusedError:" in failure_words(delivery.failure)


def test_a_name_that_stands_for_this_machine_gets_nothing(
    receiver: Receiver, manager: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_addresses, "resolve", lambda _host, _port: ["127.0.0.1"])
    delivery = trial(switched_on(f"https://inner.example:{receiver.port}/in", manager))
    assert receiver.got == []
    assert (
        failure_words(delivery.failure) == "inner.example stands for 127.0.0.1, which is not public; nothing was sent"
    )


def test_a_redirect_is_not_followed(hook: Webhook, receiver: Receiver) -> None:
    receiver.answer = lambda handler: plain(handler, 307, Location=f"http://127.0.0.1:{receiver.port}/elsewhere")
    delivery = trial(hook)
    assert [each.path for each in receiver.got] == ["/in"]
    assert (delivery.status, failure_words(delivery.failure)) == (307, "answered 307: redirects are not followed")


def test_a_huge_answer_is_read_to_its_limit_only(hook: Webhook, receiver: Receiver) -> None:
    receiver.answer = lambda handler: plain(handler, 200, b"x" * 20_000_000)
    delivery = trial(hook)
    assert (delivery.status, delivery.answer_bytes) == (200, web_addresses.MOST_BYTES)


def test_who_never_answers_is_given_up_in_time(
    hook: Webhook, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(web_addresses, "CONNECT_WITHIN_S", 0.2)
    over = threading.Event()
    receiver.answer = lambda _handler: over.wait(20) and None
    delivery = trial(hook)
    over.set()
    assert failure_words(delivery.failure).startswith("no answer within")


def test_who_answers_in_drops_is_cut_off(hook: Webhook, receiver: Receiver, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each drop comes before the time of one read is over; the whole answer never does."""
    monkeypatch.setattr(web_addresses, "ANSWER_WITHIN_S", 0.5)
    over = threading.Event()

    def drip(handler: BaseHTTPRequestHandler) -> None:
        handler.wfile.write(b"HTTP/1.1 200 OK\r\n")
        while not over.wait(0.05):
            handler.wfile.write(b"X-Drop: 1\r\n")

    receiver.answer = drip
    delivery = trial(hook)
    over.set()
    assert delivery.sent_at is None
    assert failure_words(delivery.failure).startswith("no whole answer within") or "headers" in failure_words(
        delivery.failure
    )


def test_a_handshake_in_drops_is_cut_off_too(
    receiver: Receiver, manager: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A TLS record is announced as long and then sent byte by byte."""
    monkeypatch.setattr(web_addresses, "ANSWER_WITHIN_S", 0.5)
    over = threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:

        def drip() -> None:
            taken, _address = server.accept()
            with taken, suppress(OSError):
                taken.sendall(b"\x16\x03\x03\x40\x00")
                while not over.wait(0.05):
                    taken.sendall(b"\x00")

        threading.Thread(target=drip, daemon=True).start()
        delivery = trial(switched_on(f"https://127.0.0.1:{server.getsockname()[1]}/in", manager))
        over.set()
    assert failure_words(delivery.failure) == "no whole answer within 0 s"


def test_what_is_no_http_is_said(hook: Webhook, receiver: Receiver) -> None:
    receiver.answer = lambda handler: handler.wfile.write(b"nonsense\r\n\r\n") and None
    assert "(BadStatusLine:" in failure_words(trial(hook).failure)


# ---- failing ----


def failing(receiver: Receiver, status: int) -> None:
    receiver.answer = lambda handler: plain(handler, status)


def test_what_fails_waits_longer_each_time_and_keeps_its_order(
    hook: Webhook, receiver: Receiver, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    failing(receiver, 503)
    add_yearly_required_check(boiler, technician)
    visited(boiler, person, analyser, technician)
    now, waits = NOON + MINUTE, []
    for _try in range(4):
        send(hook, now)
        job = Job.objects.get(kind="send_hook", state="waiting")
        waits.append((job.due_at - now).total_seconds())
        now = job.due_at
    assert waits == [2, 4, 8, 16]
    assert len({each.headers["Idempotency-Key"] for each in receiver.got}) == 1
    failing(receiver, 200)
    receiver.got.clear()
    send(hook, now)
    sent = [each.headers["Idempotency-Key"] for each in receiver.got]
    assert sent == sorted(sent) and len(sent) == 3
    assert hook.failing_since is None


def test_a_new_event_does_not_shorten_the_wait_of_a_failing_hook(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], technician: User
) -> None:
    failing(receiver, 503)
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    send(hook)
    due = Job.objects.get(kind="send_hook", state="waiting").due_at
    webhooks.gather_events(hook=hook, now=NOON + MINUTE)
    assert Job.objects.get(kind="send_hook", state="waiting").due_at == due


def test_one_event_that_is_refused_for_good_holds_up_no_other(
    hook: Webhook, receiver: Receiver, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    receiver.answer = lambda handler: plain(handler, 400 if handler.headers["Fleet-Event"] == "visit_recorded" else 200)
    add_yearly_required_check(boiler, technician)
    visited(boiler, person, analyser, technician)
    for minutes in range(1, webhooks.MOST_REFUSALS + 1):
        send(hook, NOON + minutes * MINUTE)
    assert HookDelivery.objects.get(kind="visit_recorded").given_up
    assert HookDelivery.objects.get(kind="revisit_changed").sent_at


def test_after_days_of_failure_it_is_switched_off_and_says_why(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], technician: User, manager: User
) -> None:
    failing(receiver, 500)
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    send(hook)
    send(hook, NOON + timedelta(days=webhooks.FAILING_DAYS))
    assert hook.is_on
    send(hook, NOON + MINUTE + timedelta(days=webhooks.FAILING_DAYS))
    assert not hook.is_on
    assert failure_words(hook.switched_off_why) == "Nothing arrived for 3 days; the last try: answered 500."
    on_again = webhooks.change_hook(hook=hook, version=hook.version, changes={"is_on": True}, actor=manager, now=NOON)
    assert on_again.switched_off_why == []


def test_what_waits_is_held_back_from_the_moment_on_at_which_it_is_switched_off(
    hook: Webhook, receiver: Receiver, boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    visited(boiler, person, analyser, technician, left=("10.30", "9.10"))
    assert webhooks.gather_events(hook=hook, now=NOON + MINUTE) == 3

    def clock() -> datetime:
        Webhook.objects.update(is_on=False)  # while the first is under way
        return NOON + MINUTE

    webhooks.send_waiting(hook=hook, clock=clock)()
    assert len(receiver.got) == 1


@pytest.mark.parametrize("why", ["left", "limited", "other role"])
def test_a_hook_of_somebody_who_may_see_no_more_what_it_carries_is_fed_nothing(
    hook: Webhook, manager: User, body: dict[str, Any], technician: User, why: str
) -> None:
    changes = {"left": {"is_active": False}, "limited": {"sees_all_clients": False}, "other role": {"role": "auditor"}}
    User.objects.filter(id=manager.id).update(**changes[why])
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    webhooks.feed_hooks(now=NOON + MINUTE)
    hook.refresh_from_db()
    assert not hook.is_on and not HookDelivery.objects.exists()
    assert "who answered for it, may see no more" in failure_words(hook.switched_off_why)


def test_who_switches_it_on_answers_for_it(hook: Webhook, manager: User) -> None:
    other = cast.make_user("other", "manager")
    off = webhooks.change_hook(hook=hook, version=hook.version, changes={"is_on": False}, actor=other, now=NOON)
    assert off.owner == manager
    on_again = webhooks.change_hook(hook=off, version=off.version, changes={"is_on": True}, actor=other, now=NOON)
    assert (on_again.owner, on_again.made_by) == (other, manager)


def test_a_trial_goes_while_the_hook_is_off_and_once_only(receiver: Receiver, manager: User) -> None:
    values = {"name": "office", "url": receiver.url, "kinds": ALL, "client": None}
    hook, _secret = webhooks.add_hook(values=values, actor=manager, now=NOON)
    failing(receiver, 500)
    delivery = trial(hook)
    assert (delivery.kind, delivery.status, delivery.given_up) == ("trial", 500, True)
    webhooks.send_waiting(hook=hook, clock=lambda: NOON + 2 * MINUTE)()
    assert len(receiver.got) == 1


def test_old_deliveries_are_forgotten_and_waiting_ones_are_not(hook: Webhook, receiver: Receiver) -> None:
    trial(hook)
    values = {"hook": hook, "kind": "flag_opened", "body": "{}", "made_at": NOON}
    HookDelivery.objects.create(event="waiting", **values)
    webhooks.feed_hooks(now=NOON + webhooks.KEPT + 2 * MINUTE)
    assert [each.event for each in HookDelivery.objects.all()] == ["waiting"]


# ---- who may ----


def test_a_hook_of_the_installation_is_for_who_sees_all_clients(client_of_ours: Client, manager: User) -> None:
    some = cast.make_user("some", Role.MANAGER, sees_all_clients=False)
    some.clients.add(client_of_ours)
    other = Client.objects.create(name="Mill Trust")
    values = {"name": "office", "url": "https://office.example/in", "kinds": ALL}
    with pytest.raises(Forbidden):
        webhooks.add_hook(values=values | {"client": None}, actor=some, now=NOON)
    with pytest.raises(NotFound):
        webhooks.add_hook(values=values | {"client": other}, actor=some, now=NOON)
    ours, _secret = webhooks.add_hook(values=values | {"client": client_of_ours}, actor=some, now=NOON)
    webhooks.add_hook(values=values | {"client": None}, actor=manager, now=NOON)
    webhooks.add_hook(values=values | {"client": other}, actor=manager, now=NOON)
    assert list(visible_hooks(some)) == [ours]
    assert visible_hooks(manager).count() == 3


@pytest.mark.parametrize("kinds", [[], ["nothing"], ["flag_opened", "flag_opened"]])
def test_kinds_that_can_not_be_are_refused(manager: User, kinds: list[str]) -> None:
    values = {"name": "office", "url": "https://office.example/in", "kinds": kinds, "client": None}
    with pytest.raises(FleetError) as refused:
        webhooks.add_hook(values=values, actor=manager, now=NOON)
    assert list(said_of(refused.value)) == ["kinds"]


def test_a_removed_hook_sends_nothing(
    hook: Webhook, receiver: Receiver, body: dict[str, Any], technician: User
) -> None:
    record_visit(draft=read_visit(body), actor=technician, now=NOON)
    webhooks.gather_events(hook=hook, now=NOON + MINUTE)
    webhooks.remove_hook(hook=hook, version=hook.version, now=NOON + MINUTE)
    hook.refresh_from_db()
    webhooks.send_waiting(hook=hook, clock=lambda: NOON + MINUTE)()
    assert receiver.got == []


@pytest.mark.parametrize("host", ["", "http://x/", "a b", "user@host", "höst"])
def test_what_is_no_host_is_not_allowed(manager: User, host: str) -> None:
    with pytest.raises(FleetError) as refused:
        webhooks.allow_target(host=host, why="ours", actor=manager, now=NOON)
    assert list(said_of(refused.value)) == ["host"]
