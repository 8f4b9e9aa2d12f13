"""Each deed of a person is whole or not at all: broken off at any of its writes it leaves nothing, and done again with
what was read before the first time it changes nothing."""

import copy
import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pytest
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from django.apps import apps
from django.db import OperationalError, connection, transaction
from django.db.models import BinaryField, JSONField
from pytest_django import DjangoDbBlocker

from fleet import clock
from fleet.coded import coded
from fleet.errors import FleetError
from fleet.intake.visits import read_visit
from fleet.models import (
    Analyser,
    Appliance,
    Client,
    Defect,
    Delivery,
    Flag,
    LimitSet,
    LimitSetAssignment,
    LogIn,
    OutOfUse,
    Person,
    Question,
    Revisit,
    Role,
    Tenancy,
    User,
    Visit,
)
from fleet.models.register import new_id
from fleet.services import (
    access,
    alerts,
    appliances,
    calendars,
    contractor,
    deliveries,
    flags,
    follow_ups,
    gas_conversions,
    limit_sets,
    no_access,
    out_of_use,
    people,
    register,
    replacements,
    required_checks,
    revisit_days,
    tenancies,
    visits,
    webhooks,
)
from fleet.services.revisits import refresh_appliance
from tests import cast
from tests.cast import NOON
from tests.models.rows import made as made_up

Deed = Callable[[], Any]
TODAY, SOON = NOON.date(), NOON.date() + timedelta(days=30)
EACH_WRITE, MOST_WRITES = 8, 80  # from so many on each fifth


@dataclass(frozen=True)
class World:
    """A boiler that was declared unsafe, under a set, with what follows from that; who acts is its manager, qualified.

    body: of another visit, not sent yet.
    """

    boiler: Appliance
    visit: Visit
    body: dict[str, Any]
    manager: User
    person: Person
    analyser: Analyser
    hook: Any

    @property
    def by(self) -> dict[str, Any]:
        return {"actor": self.manager, "now": NOON + timedelta(hours=1)}

    @property
    def at(self) -> dict[str, Any]:
        return {"now": NOON + timedelta(hours=1)}


@pytest.fixture(scope="module")
def made(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """Made once for all deeds, each of which is taken back."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield _world(cast.make_user("manager", Role.MANAGER))
        transaction.set_rollback(True)


@pytest.fixture
def world(made: World, settings: Any) -> Iterator[World]:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    with transaction.atomic():
        yield copy.deepcopy(made)
        transaction.set_rollback(True)


def _world(manager: User) -> World:
    boiler = cast.make_appliance(cast.make_building(Client.objects.create(name="Weir Trust")), cast.make_sheet(manager))
    person, analyser = cast.make_person("Bo Boss", manager, manager), cast.make_analyser(manager)
    place = {"limit_set": LimitSet.objects.get(key="uk-gsiur-36"), "appliance": boiler, "since": date(2025, 1, 1)}
    limit_sets.assign_limit_set(values=place | {"why": "let"}, actor=manager, now=NOON)
    body = cast.visit_body(boiler, person, analyser, day="2026-02-02", co="900", left=("9.40", "9.10"))
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"reason": "spilling", "told": "caretaker"}}
    body["defects"] = [{"what": "loose label", "severity": "repair"}]
    body["readings"][0]["analyser"] = "borrowed"
    visit = cast.store(body, manager)
    cast.store(cast.visit_body(boiler, person, analyser, day="2026-02-20"), manager)
    refresh_appliance(appliance=boiler, now=NOON)
    hook, _secret = webhooks.add_hook(
        values={"name": "office", "url": "https://office.example/in", "kinds": ["flag_opened"], "client": None},
        actor=manager, now=NOON,
    )  # fmt: skip
    boiler.refresh_from_db()
    return World(boiler, visit, cast.visit_body(boiler, person, analyser), manager, person, analyser, hook)


# ---- the deeds ----


def upon(do: Callable[..., Any], name: str, row: Any, **said: Any) -> Deed:
    """`do` to the row as it stands when it is done, by the version that it has now."""
    version = row.version
    return lambda: do(**{name: type(row)._default_manager.get(pk=row.pk)}, version=version, **said)


def _set() -> LimitSet:
    return LimitSet.objects.get(key="uk-gsiur-36")


def close_flag(world: World) -> Deed:
    flag = Flag.objects.get(kind="unsafe", closed_at=None)
    return upon(flags.close_flag, "flag", flag, why="tested since", **world.by)


def answer_flag(world: World) -> Deed:
    flag = Flag.objects.get(kind="unsafe", closed_at=None)
    return upon(flags.acknowledge_flag, "flag", flag, note="mine", **world.by)


def resolve_defect(world: World) -> Deed:
    return upon(follow_ups.resolve_defect, "defect", Defect.objects.get(), why="seen", **world.by)


def resolve_question(world: World) -> Deed:
    question = Question.objects.filter(resolved_at=None)[0]
    return upon(visits.resolve_question, "question", question, note="seen", **world.by)


def send_visit(world: World) -> Deed:
    return lambda: visits.record_visit(draft=read_visit(world.body), **world.by)


def correct_visit(world: World) -> Deed:
    newest = Visit.objects.latest("local_date")
    body = cast.visit_body(world.boiler, world.person, world.analyser, day="2026-02-20", found=("8.80", "9.00"))
    draft = read_visit(body | {"id": str(newest.id)})
    return lambda: visits.amend_visit(draft=draft, reason="typing error", version=1, **world.by)


def keep_unreadable(world: World) -> Deed:
    return lambda: visits.keep_unreadable(
        body=b"{", errors={"body": coded("blank")}, unsafe=world.boiler.id, **world.by
    )


def resolve_unreadable(world: World) -> Deed:
    held = visits.keep_unreadable(body=b"{", errors={"body": coded("blank")}, unsafe=None, **world.by)
    return upon(visits.resolve_unreadable_record, "unreadable", held, how="sent again", **world.by)


def book_day(world: World) -> Deed:
    said = {"state": "confirmed", "day": SOON, "note": "", "technician": None}
    notice = revisit_days.Notice("agreed", TODAY, "by telephone", 0)
    return upon(revisit_days.book_day, "revisit", Revisit.objects.get(), notice=notice, **said, **world.by)


def release_day(world: World) -> Deed:
    book_day(world)()
    return upon(revisit_days.release_day, "revisit", Revisit.objects.get(), note="ill", **world.by)


def attempt(world: World) -> Deed:
    book_day(world)()
    said = {"at": NOON, "kind": "nobody_in", "note": "", "letter": "card"}
    return lambda: no_access.record_no_access(appliances=[world.boiler], **said, **world.by)


def send_delivery(world: World) -> Deed:
    said = {"how": "email", "address": "a@b.example", "sent_at": NOON, "proof": "id 1", "file": None}
    waiting = Delivery.objects.filter(visit=world.visit)[0]
    return upon(deliveries.send_delivery, "delivery", waiting, **said, **world.by)


def fail_delivery(world: World) -> Deed:
    return upon(deliveries.fail_delivery, "delivery", send_delivery(world)(), why="came back", **world.by)


def begin_tenancy(world: World) -> Deed:
    values = {"building": world.boiler.building, "appliance": world.boiler, "begins": SOON, "source": "the agent"}
    return lambda: tenancies.begin_tenancy(values=values, **world.at)


def call_off_tenancy(world: World) -> Deed:
    begin_tenancy(world)()
    changes = {"called_off": "took another house"}
    return upon(tenancies.change_tenancy, "tenancy", Tenancy.objects.get(), changes=changes, **world.at)


def stand_still(world: World) -> Deed:
    content = {"begins": "2026-02-25", "why": "empty", "said_by": "the owner", "proof": "photo"}
    id = new_id()
    return lambda: out_of_use.begin_out_of_use(appliance=world.boiler, content=content, id=id, **world.by)


def start_again(world: World) -> Deed:
    id = stand_still(world)().id
    content = {"ends": "2026-03-01", "restart_said_by": "the owner", "restart_proof": ""}
    return lambda: out_of_use.end_out_of_use(out_of_use=OutOfUse.objects.get(id=id), content=content, **world.by)


def replace(world: World) -> Deed:
    values = {"name": "Boiler 1", "serial": "N-7", "sheet": world.boiler.sheet}
    kept = [own_check(world)().id]
    assigned = list(LimitSetAssignment.objects.values_list("id", flat=True))
    said = {"day": TODAY, "values": values, "assignments": assigned, "kept_required_checks": kept}
    return upon(replacements.replace_appliance, "old", world.boiler, **said, **world.by)


def convert(world: World) -> Deed:
    sheet = cast.make_sheet(world.manager, cast.SHEET | {"fuel": "propane"}, name="For propane")
    content = {"converted_on": "2026-02-20", "to_fuel": "propane", "kit": "K", "label": "propane",
               "analyser_fuel": "propane", "done_by": "Bo Boss", "test_within_days": 14}  # fmt: skip
    said = {"content": content, "sheet": sheet, "id": new_id()}
    return upon(gas_conversions.convert_appliance, "appliance", world.boiler, **said, **world.by)


def change_appliance(world: World) -> Deed:
    changes = {"room": "cellar", "in_service_to": TODAY}
    return upon(appliances.change_appliance, "appliance", world.boiler, changes=changes, **world.by)


def take_on(world: World) -> Deed:
    values = {"id": new_id(), "building": world.boiler.building, "name": "Boiler 2", "in_service_from": TODAY}
    place = {"limit_set": _set(), "building": world.boiler.building, "since": TODAY, "why": "let"}
    limit_sets.assign_limit_set(values=place, **world.by)
    return lambda: appliances.take_on_appliance(values=values, **world.by)


def change_building(world: World) -> Deed:
    changes = {"altitude_m": 300.0}
    return upon(register.change_building, "building", world.boiler.building, changes=changes, **world.by)


def other_gas(world: World) -> Deed:
    values = {"building": world.boiler.building, "since": TODAY, "fuel": "methane", "source": "the network"}
    return lambda: register.add_gas_supply(values=values, **world.by)


def sheet_version(world: World) -> Deed:
    assert world.boiler.sheet is not None
    said = {"sheet": world.boiler.sheet, "content": cast.SHEET | {"rated_input_kw": "61"}, "id": new_id()}
    return lambda: appliances.add_sheet_version(based_on=1, **said, **world.by)


def copy_sheet(world: World) -> Deed:
    assert world.boiler.sheet is not None
    said = {"sheet": world.boiler.sheet, "values": {"id": new_id(), "name": "Another"}}
    return lambda: appliances.copy_sheet(**said, **world.by)


def set_version(world: World) -> Deed:
    newest = _set().current
    assert newest is not None
    content = newest.content | {"interval": {"type": "max_months", "months": 6}}
    said = {"limit_set": _set(), "content": content, "id": new_id(), "based_on": newest.number}
    return lambda: limit_sets.add_limit_set_version(**said, **world.by)


def copy_set(world: World) -> Deed:
    said = {"limit_set": _set(), "values": {"key": "ours", "name": "Ours"}}
    return lambda: limit_sets.copy_limit_set(**said, **world.by)


def assign_set(world: World) -> Deed:
    place = {"limit_set": LimitSet.objects.get(key="demo-neutral"), "client": world.boiler.building.client}
    return lambda: limit_sets.assign_limit_set(values=place | {"since": TODAY, "why": "agreed"}, **world.by)


def end_assignment(world: World) -> Deed:
    assignment = LimitSetAssignment.objects.get()
    return upon(limit_sets.change_assignment, "assignment", assignment, changes={"until": TODAY}, **world.by)


def stop_levels(world: World) -> Deed:
    said = {"content": contractor.FIRST_STOP_LEVELS | {"co_ppm_air_free": "300"}, "id": new_id()}
    return lambda: limit_sets.set_stop_levels(**said, **world.by)


def own_check(world: World) -> Deed:
    values = {"appliance": world.boiler, "name": "Yearly", "source": "contract", "since": TODAY, "why": "clause 4"}
    rule = {"rule": {"type": "max_months", "months": 12}}
    return lambda: required_checks.add_required_check(values=values | rule, **world.by)


def change_check(world: World) -> Deed:
    changes = {"until": TODAY, "ended_why": "the contract ended"}
    check = own_check(world)()
    return upon(required_checks.change_required_check, "required_check", check, changes=changes, **world.by)


def put_on_call(world: World) -> Deed:
    """The first whom the unsafe appliance can be told."""
    alerts.change_own_alerts(user=world.manager, version=1, changes={"email": "boss@heating.example"}, now=NOON)
    return lambda: alerts.put_on_call(values={"user": world.manager, "after_minutes": 0}, **world.at)


def take_off_call(world: World) -> Deed:
    entry = put_on_call(world)()
    return lambda: alerts.take_off_call(entry=entry, version=1)


def own_alerts(world: World) -> Deed:
    changes = {"email": "boss@heating.example", "hour": 7}
    return lambda: alerts.change_own_alerts(user=world.manager, version=1, changes=changes, **world.at)


def make_account(_world: World) -> Deed:
    said = {"username": "new", "password": "a-long-enough-secret", "role": "technician", "name": "Cy"}
    return lambda: access.create_user(**said)


def make_token(world: World) -> Deed:
    said = {"name": "export", "scope": "read", "days": 1, "clients": [world.boiler.building.client]}
    return lambda: access.create_token(user=world.manager, actor=world.manager, now=clock.now(), **said)


def new_password(world: World) -> Deed:
    made_up(LogIn, user=world.manager)
    return lambda: access.set_password(user=world.manager, password="a-long-enough-secret", now=NOON)


def lose_second_factor(world: World) -> Deed:
    made_up(LogIn, user=world.manager)
    RecoveryCodes.activate(world.manager)
    return lambda: access.forget_second_factor(user=world.manager, why="lost", **world.by)


def calibrate(world: World) -> Deed:
    content = {"done_on": "2026-01-10", "valid_to": "2027-01-10", "certificate": "C", "by": "L", "passed": True}
    said = {"analyser": world.analyser, "content": content, "id": new_id()}
    return lambda: register.add_calibration(**said, **world.by)


def revoke_calendar(world: World) -> Deed:
    address, _secret = calendars.make_address(user=world.manager, client=None, **world.by)
    return upon(calendars.revoke_address, "address", address, **world.by)


def switch_hook_on(world: World) -> Deed:
    return upon(webhooks.change_hook, "hook", world.hook, changes={"is_on": True}, **world.by)


def gather_events(world: World) -> Deed:
    hook = switch_hook_on(world)()
    later = NOON + timedelta(hours=2)
    Flag.objects.update(opened_at=later, updated_at=later)
    return lambda: webhooks.gather_events(hook=hook, now=later + timedelta(minutes=1))


def remove_hook(world: World) -> Deed:
    return upon(webhooks.remove_hook, "hook", world.hook, **world.at)


def add_client(_world: World) -> Deed:
    some = cast.make_user("some", "manager", sees_all_clients=False)
    values = {"id": new_id(), "name": "Mill Trust"}
    return lambda: register.add_client(values=values, actor=some, now=NOON)


def invite(world: World) -> Deed:
    new = Person.objects.create(name="Cy Cooper")
    values = {"username": "cy", "role": "auditor", "email": "", "clients": [world.boiler.building.client]}
    return upon(people.invite_person, "person", new, values=values, **world.by)


def invite_newcomer(world: World) -> Deed:
    values = {"username": "cy", "role": "auditor", "email": "", "clients": [world.boiler.building.client]}
    return lambda: people.invite_newcomer(person={"name": "Cy Cooper", "phone": ""}, values=values, **world.by)


def _invited(world: World) -> Person:
    invite(world)()
    return Person.objects.get(user__username="cy")


def change_account(world: World) -> Deed:
    changes = {"name": "Cy Weir", "role": "manager", "clients": None}
    return upon(people.change_account, "person", _invited(world), changes=changes, **world.by)


def change_person(world: World) -> Deed:
    return upon(people.change_person, "person", _invited(world), changes={"phone": "0000 1"}, **world.by)


def end_access(world: World) -> Deed:
    cy = _invited(world)
    access.create_token(user=cy.user, actor=cy.user, name="export", scope="read", days=1, now=NOON)
    return upon(people.end_access, "person", cy, **world.by)


def let_back(world: World) -> Deed:
    end_access(world)()
    return upon(people.let_back, "person", Person.objects.get(user__username="cy"), **world.by)


def reset_log_in(world: World) -> Deed:
    said = {"second_factor": True, "why": "phone lost"}
    return upon(people.reset_log_in, "person", _invited(world), **said, **world.by)


# What is done, and what the same once more is: refused with this code, or ANEW for what stands for something new.
SAME, ANEW = "same", "anew"
DEEDS: dict[Callable[[World], Deed], str] = {
    close_flag: "changed_meanwhile",
    answer_flag: "changed_meanwhile",
    resolve_defect: "changed_meanwhile",
    resolve_question: "changed_meanwhile",
    send_visit: SAME,
    correct_visit: "changed_meanwhile",
    keep_unreadable: SAME,
    resolve_unreadable: "changed_meanwhile",
    book_day: "changed_meanwhile",
    release_day: "changed_meanwhile",
    attempt: ANEW,
    send_delivery: "already_sent",
    fail_delivery: "not_sent",
    begin_tenancy: ANEW,
    call_off_tenancy: "changed_meanwhile",
    stand_still: "already_out_of_use",
    start_again: "already_ended",
    replace: "already_replaced",
    convert: "invalid",
    change_appliance: "changed_meanwhile",
    take_on: "invalid",
    change_building: "changed_meanwhile",
    other_gas: "invalid",
    sheet_version: "changed_meanwhile",
    copy_sheet: "invalid",
    set_version: "changed_meanwhile",
    copy_set: "invalid",
    assign_set: ANEW,
    end_assignment: "changed_meanwhile",
    stop_levels: ANEW,
    own_check: ANEW,
    change_check: "changed_meanwhile",
    put_on_call: "invalid",
    take_off_call: "changed_meanwhile",
    own_alerts: "changed_meanwhile",
    make_account: "invalid",
    make_token: ANEW,
    new_password: ANEW,
    lose_second_factor: ANEW,
    invite: "has_log_in",
    invite_newcomer: "invalid",
    change_account: "changed_meanwhile",
    change_person: "changed_meanwhile",
    end_access: "already_ended",
    let_back: "not_ended",
    reset_log_in: "changed_meanwhile",
    calibrate: ANEW,
    revoke_calendar: "changed_meanwhile",
    switch_hook_on: "changed_meanwhile",
    gather_events: ANEW,
    remove_hook: "changed_meanwhile",
    add_client: "invalid",
}


# ---- how they are broken off ----


class _BrokenOff(OperationalError):
    """In the middle of a deed the database goes away."""


@contextmanager
def broken_off_at(number: int) -> Iterator[None]:
    """The write of this number, from 1, isn't done: a lost connection, a full disk."""
    writes = 0

    def execute(run: Any, sql: str, *rest: Any) -> Any:
        nonlocal writes
        writes += sql.startswith(("INSERT", "UPDATE", "DELETE"))
        if writes >= number and not sql.startswith(("ROLLBACK", "RELEASE")):
            raise _BrokenOff(sql[:60])
        return run(sql, *rest)

    with connection.execute_wrapper(execute):
        yield


_COLUMNS = {
    model: [each.attname for each in model._meta.concrete_fields if not isinstance(each, BinaryField | JSONField)]
    for model in apps.get_app_config("fleet").get_models(include_auto_created=True)
}


def all_rows() -> dict[str, str]:
    """What stands in each table."""
    return {
        model.__name__: hashlib.sha256(
            repr(sorted(model._default_manager.values_list(*names), key=repr)).encode()
        ).hexdigest()
        for model, names in _COLUMNS.items()
    }


@pytest.mark.parametrize("deed", DEEDS, ids=lambda deed: deed.__name__)
def test_a_deed_is_whole_or_not_at_all_and_done_once(world: World, deed: Callable[[World], Deed]) -> None:
    do, again = deed(world), DEEDS[deed]
    before = all_rows()
    for number in (*range(1, EACH_WRITE), *range(EACH_WRITE, MOST_WRITES, 5)):
        try:
            with broken_off_at(number):
                first = do()
        except _BrokenOff:
            # One write alone needs no transaction of its own; the test's goes on.
            transaction.set_rollback(False)
            assert all_rows() == before, f"broken off at write {number}"
        else:
            break
    done = all_rows()
    assert done != before and number > 1
    if again == SAME:
        assert do() == first
    elif again != ANEW:
        with pytest.raises(FleetError) as refused:
            do()
        assert refused.value.code == again
    assert again == ANEW or all_rows() == done
