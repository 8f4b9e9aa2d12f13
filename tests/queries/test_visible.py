"""Every query, asked by who sees one client, by who sees all, by who sees none and by who has left."""

import inspect
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.assess.entries import ENTRIES
from fleet.errors import NotFound
from fleet.evidence import canonical_bytes
from fleet.models import (
    AllowedTarget,
    Contractor,
    Delivery,
    LimitSetAssignment,
    Person,
    Reading,
    Record,
    Revisit,
    UnreadableRecord,
    User,
    Visit,
)
from fleet.queries import (
    access,
    alerts,
    attention,
    audit,
    buildings,
    calendars,
    follow_ups,
    forecasts,
    histories,
    people,
    records,
    register,
    required_checks,
    revisits,
    sheets,
    visits,
    webhooks,
)
from fleet.queries.statements import statement_for
from fleet.services.access import create_token
from tests.cast import NOON, make_user, store
from tests.models.rows import DAY, MOMENT, made
from tests.queries.world import YESTERDAY, World

pytestmark = pytest.mark.django_db
Ask = Callable[[User], Any]
FIELD = ("technician", "dispatcher", "manager")
EVERYBODY = (*FIELD, "auditor")

# What is asked, which rows of a place answer it, what is looked at of each, and who may ask.
ROWS: dict[str, tuple[Ask, tuple[str, ...], str, tuple[str, ...]]] = {
    "clients": (access.visible_clients, ("client",), "name", EVERYBODY),
    "alerts": (alerts.visible_alerts, ("alert",), "user.username", FIELD),
    "buildings": (buildings.visible_buildings, ("building",), "client.name", EVERYBODY),
    "buildings at a glance": (
        lambda viewer: buildings.buildings_at_a_glance(viewer, DAY),
        ("building",),
        "client.name",
        EVERYBODY,
    ),
    "flags": (follow_ups.visible_flags, ("flag",), "appliance.building.name", EVERYBODY),
    "questions": (follow_ups.visible_questions, ("question",), "visit.appliance.building.name", EVERYBODY),
    "open questions": (follow_ups.open_questions, ("question",), "visit.appliance.building.name", EVERYBODY),
    "corrections": (visits.visible_corrections, ("correction",), "visit.appliance.building.client.name", EVERYBODY),
    "retests": (follow_ups.visible_retests, ("retest",), "limit_set.name", EVERYBODY),
    "attempts": (follow_ups.visible_no_access, ("no_access",), "by.username", EVERYBODY),
    "defects": (follow_ups.visible_defects, ("defect",), "appliance.building.client.name", EVERYBODY),
    "open defects": (follow_ups.open_defects, ("defect",), "visit.local_date", EVERYBODY),
    "late defects": (lambda viewer: follow_ups.overdue_defects(viewer, DAY), ("defect",), "visit.id", EVERYBODY),
    "deliveries": (follow_ups.visible_deliveries, ("delivery",), "limit_set.name", EVERYBODY),
    "open deliveries": (follow_ups.open_deliveries, ("delivery",), "visit.appliance.building.client.name", EVERYBODY),
    "late deliveries": (lambda viewer: follow_ups.overdue_deliveries(viewer, DAY), ("delivery",), "due", EVERYBODY),
    "tenancies": (follow_ups.visible_tenancies, ("tenancy",), "building.name", EVERYBODY),
    "forecasts": (forecasts.visible_forecasts, ("forecast",), "snapshot.digest", EVERYBODY),
    "visit records": (records.visit_records, ("record",), "actor.username", EVERYBODY),
    "files": (records.visible_files, ("file", "file_of_attempt"), "uploaded_by.username", EVERYBODY),
    "gas supplies": (register.visible_gas_supplies, ("gas_supply",), "building.name", EVERYBODY),
    "out of use": (register.visible_out_of_use, ("out_of_use",), "appliance.building.name", EVERYBODY),
    "appliances": (register.visible_appliances, ("appliance",), "sheet.current.number", EVERYBODY),
    "flue groups": (register.visible_flue_groups, ("flue_group",), "building.name", EVERYBODY),
    "required checks": (required_checks.visible_required_checks, ("required_check",), "decided_by.username", EVERYBODY),
    "standing required checks": (
        lambda viewer: required_checks.standing_required_checks(viewer, DAY),
        ("required_check",),
        "appliance.building.client.name",
        EVERYBODY,
    ),
    "dated required checks": (
        lambda viewer: required_checks.dated_required_checks(viewer, DAY),
        ("required_check",),
        "due",
        EVERYBODY,
    ),
    "revisits": (revisits.visible_revisits, ("revisit",), "appliance.building.name", EVERYBODY),
    "nobody named": (lambda viewer: revisits.nobody_named(viewer, DAY), ("revisit",), "set_by", EVERYBODY),
    "assignments": (
        sheets.visible_assignments,
        ("of_client", "of_building", "of_appliance"),
        "limit_set.name",
        EVERYBODY,
    ),
    "visits": (visits.visible_visits, ("visit",), "appliance.building.client.name", EVERYBODY),
    "hooks": (webhooks.visible_hooks, ("hook",), "made_by.username", ("manager",)),
    "hook deliveries": (webhooks.visible_deliveries, ("hook_delivery",), "hook.name", ("manager",)),
    "hooks switched off": (alerts.switched_off_hooks, ("hook",), "name", ("manager",)),
    "calendar clients": (calendars.calendar_clients, ("client",), "name", ("dispatcher", "manager")),
    "calendars": (
        calendars.visible_addresses,
        ("calendar_of_client", "calendar_of_technician"),
        "made_by.username",
        ("dispatcher", "manager"),
    ),
}


def ids(rows: Any) -> set[Any]:
    return {each.pk for each in rows}


def of(place: Any, names: tuple[str, ...]) -> set[Any]:
    return {getattr(place, each).pk for each in names}


@pytest.mark.parametrize("name", ROWS)
def test_each_sees_the_rows_of_their_own_clients(world: World, name: str) -> None:
    ask, rows, _looked_at, may = ROWS[name]
    everything = set().union(*(of(each, rows) for each in world.places))
    for role in EVERYBODY:
        seen = {sees: ids(ask(world.who(role, sees))) & everything for sees in ("all", "ours", "none", "gone")}
        assert seen["all"] == (everything if role in may else set()), role
        assert seen["ours"] == (of(world.ours, rows) if role in may else set()), role
        assert seen["none"] == seen["gone"] == set(), role


@pytest.mark.parametrize("name", ROWS)
def test_more_rows_take_no_more_statements(world: World, name: str) -> None:
    """One client's rows and three clients' rows, each looked at as a page does."""
    ask, _rows, looked_at, may = ROWS[name]

    def statements(sees: str) -> int:
        with CaptureQueriesContext(connection) as made_of:
            for row in ask(world.who(may[-1], sees)):
                value: Any = row
                for part in looked_at.split("."):
                    value = getattr(value, part)
        return len(made_of)

    assert 1 <= statements("ours") == statements("all")


# What one place answers by id, and how it is named in the refusal of what nobody may see.
BY_ID: dict[str, tuple[Callable[[User, Any], Any], str]] = {
    "building": (buildings.building_for, "building"),
    "history": (histories.history_for, "appliance"),
    "visit": (visits.visit_for, "visit"),
    "revisits of a building": (lambda viewer, id: revisits.revisits_of_building(viewer, id, MOMENT), "building"),
    "what if, of a building": (
        lambda viewer, id: required_checks.what_if_building(viewer, id, None, MOMENT),
        "building",
    ),
    "what if, of an appliance": (
        lambda viewer, id: required_checks.what_if_appliance(viewer, id, None, MOMENT),
        "appliance",
    ),
    "statement of a building": (
        lambda viewer, id: statement_for(viewer, building_id=id, begins=DAY, ends=DAY, today=DAY),
        "building",
    ),
    "statement of a client": (
        lambda viewer, id: statement_for(viewer, client_id=id, begins=DAY, ends=DAY, today=DAY),
        "client",
    ),
}


@pytest.mark.parametrize("name", BY_ID)
def test_what_is_another_client_s_is_refused_in_the_same_words_as_what_is_not_there(world: World, name: str) -> None:
    """So that nobody learns by asking that something is there."""
    ask, what = BY_ID[name]
    viewer = world.who("auditor")
    with pytest.raises(NotFound) as hidden:
        ask(viewer, getattr(world.theirs, what).pk)
    with pytest.raises(NotFound) as absent:
        ask(viewer, world.ours.flag.pk)
    assert (hidden.value.code, hidden.value.message) == (absent.value.code, absent.value.message)
    assert what in hidden.value.message


@pytest.mark.parametrize("name", [each for each in BY_ID if each not in ("visit", "history")])
def test_one_s_own_is_answered(world: World, name: str) -> None:
    ask, what = BY_ID[name]
    assert ask(world.who("auditor"), getattr(world.ours, what).pk) is not None


# ---- what is nobody's client's ----


def test_records_of_the_house_are_read_by_all_and_those_of_an_appliance_by_its_client_s(world: World) -> None:
    of_the_house = {made(Record, kind=each).pk for each in ("calibration", "sheet_version", "stop_levels")}
    named = ("record", "out_of_use_record", "conversion_record")
    mine, foreign = of(world.ours, named), of(world.theirs, named) | of(world.others, named)
    limited, none = (ids(records.visible_records(world.who("auditor", each))) for each in ("ours", "none"))
    assert of_the_house | mine <= limited
    assert not foreign & limited
    assert of_the_house <= none
    assert not (mine | foreign) & none
    assert mine | foreign <= ids(records.visible_records(world.who("technician", "all")))


@pytest.mark.parametrize("kind", [each for each in ENTRIES if each != "analyser"])
def test_what_was_changed_on_the_register_is_told_to_those_whose_it_is(world: World, kind: str) -> None:
    def changed(place: Any, name: str) -> Record:
        content = canonical_bytes({"schema": f"{kind}/1", "was": {"why": name}, "is": {"why": f"{name} now"}})
        return made(Record, kind=kind, subject=_entry(place, kind).pk, content=content, received_at=MOMENT)

    mine, foreign = changed(world.ours, "ours"), changed(world.theirs, "theirs")
    viewer, other = world.who("auditor"), world.who("auditor", "none")
    assert mine.pk in ids(records.visible_records(viewer))
    assert foreign.pk not in ids(records.visible_records(viewer))
    assert not {mine.pk, foreign.pk} & ids(records.visible_records(other))
    said = statement_for(viewer, client_id=world.ours.client.pk, begins=DAY, ends=DAY, today=DAY)
    assert [each.record for each in said.changes] == [mine]
    of = world.ours.appliance if kind in ("appliance", "required_check") else world.ours.building
    assert [each.record for each in records.entry_changes(viewer, of)] == [mine]
    assert records.entry_changes(viewer, world.theirs.appliance) == []


def _entry(place: Any, kind: str) -> Any:
    if kind == "assignment":
        return made(LimitSetAssignment, building=place.building, since=DAY)
    return getattr(place, kind)


def test_visit_records_are_narrowed_to_one_appliance_and_never_beyond_the_client(world: World) -> None:
    viewer = world.who("manager")
    assert ids(records.visit_records(viewer, world.ours.appliance.pk)) == {world.ours.record.pk}
    assert not records.visit_records(viewer, world.theirs.appliance.pk).exists()


def test_messages_that_cannot_be_read_may_be_anybody_s_and_are_seen_by_who_sees_all(world: World) -> None:
    kept, done = made(UnreadableRecord), made(UnreadableRecord, resolved_at=MOMENT)
    viewer = world.who("dispatcher", "all")
    assert ids(records.unreadable_records(viewer)) == {kept.pk}
    assert ids(records.all_unreadable_records(viewer)) == {kept.pk, done.pk}
    for each in (world.who("dispatcher"), world.who("manager", "none"), world.who("manager", "gone")):
        assert not records.all_unreadable_records(each).exists()


HOUSE: dict[str, Ask] = {
    "people": register.visible_people,
    "analysers": register.visible_analysers,
    "sheets": register.all_sheets,
    "limit sets": sheets.all_limit_sets,
    "stop levels": sheets.all_stop_levels,
    "technicians": revisits.technicians,
}


@pytest.mark.parametrize("name", HOUSE)
def test_what_is_the_contractor_s_is_read_by_all_who_are_still_here(
    world: World, analyser: Any, person: Any, name: str
) -> None:
    everything = ids(HOUSE[name](world.who("manager", "all")))
    assert everything
    for role in FIELD if name in ("people", "technicians") else EVERYBODY:
        assert ids(HOUSE[name](world.who(role, "none"))) == everything
        assert not HOUSE[name](world.who(role, "gone")).exists()


def test_an_auditor_knows_who_stands_on_records_of_their_clients_and_colleagues_no_auditor_of_others(
    world: World, person: Any
) -> None:
    """Whoever signed, measured or is to come; an auditor of both or of all clients is no stranger to either."""
    Visit.objects.filter(appliance=world.theirs.appliance).update(signed_by=None)
    Revisit.objects.update(technician=None)
    signed, measured, expected, elsewhere = (made(Person, name=name) for name in ("Sy", "Mo", "Ed", "El"))
    Reading.objects.update(person=None)
    Visit.objects.filter(appliance=world.ours.appliance).update(signed_by=signed)
    made(Reading, visit=world.ours.visit, person=measured)
    Revisit.objects.filter(appliance=world.ours.appliance).update(technician=expected)
    Visit.objects.filter(appliance=world.theirs.appliance).update(signed_by=elsewhere)
    auditors = {sees: made(Person, user=world.who("auditor", sees)) for sees in ("all", "ours", "none")}
    names = {each: each.name for each in (signed, measured, expected)}
    known = set(register.visible_people(world.who("auditor", "ours")))
    assert known == {*names, auditors["ours"]}
    assert set(register.visible_people(world.who("auditor", "all"))) >= {*names, elsewhere, auditors["all"]}
    assert person not in known and not register.visible_people(world.who("auditor", "gone")).exists()
    for role in FIELD:
        colleagues = set(register.visible_people(world.who(role, "ours")))
        assert {*names, elsewhere, person, auditors["all"], auditors["ours"]} <= colleagues
        assert auditors["none"] not in colleagues


def test_the_contractor_is_known_to_all_who_are_still_here(world: World) -> None:
    assert register.the_contractor(world.who("technician", "none")) == Contractor.objects.get()
    with pytest.raises(NotFound):
        register.the_contractor(world.who("manager", "gone"))


def test_a_hook_of_the_whole_installation_is_for_managers_who_see_all(world: World) -> None:
    def named(query: Ask, viewer: User) -> set[str]:
        return {each.name for each in query(viewer)}

    for query in (webhooks.visible_hooks, alerts.switched_off_hooks):
        assert "whole installation" in named(query, world.who("manager", "all"))
        assert "whole installation" not in named(query, world.who("manager"))


def test_hooks_of_somebody_are_those_that_the_viewer_sees_and_they_made_or_keep(world: World) -> None:
    ours, theirs, keeper = world.ours.hook, world.theirs.hook, make_user("keeper", "manager")
    for hook in (ours, theirs):
        type(hook).objects.filter(id=hook.id).update(kept_by=keeper)
    assert ids(webhooks.hooks_of(world.who("manager"), keeper)) == {ours.pk}
    assert {ours.pk, theirs.pk} == ids(webhooks.hooks_of(world.who("manager", "all"), keeper))
    assert ours.pk in ids(webhooks.hooks_of(world.who("manager"), ours.made_by))
    for nobody in (world.who("manager", "none"), world.who("manager", "gone"), world.who("dispatcher", "all")):
        assert not webhooks.hooks_of(nobody, keeper).exists()


def test_a_removed_hook_is_gone_with_its_deliveries(world: World) -> None:
    hook, viewer = world.ours.hook, world.who("manager")
    type(hook).objects.filter(id=hook.id).update(removed_at=MOMENT)
    for query in (webhooks.visible_hooks, webhooks.visible_deliveries, alerts.switched_off_hooks):
        assert not query(viewer).exists()


def test_hosts_that_may_be_reached_are_the_whole_installation_s(world: World) -> None:
    made(AllowedTarget)
    assert webhooks.allowed_targets(world.who("manager", "all")).count() == 1
    for each in (world.who("manager"), world.who("dispatcher", "all"), world.who("manager", "gone")):
        assert not webhooks.allowed_targets(each).exists()


def test_a_delivery_before_a_tenancy_elsewhere_is_not_shown_with_the_visit(world: World) -> None:
    """A visit moved by a correction leaves what was asked for the wrong building behind."""
    strayed = made(Delivery, visit=world.ours.visit, tenancy=world.theirs.tenancy)
    assert strayed.pk not in ids(follow_ups.visible_deliveries(world.who("dispatcher")))
    assert strayed.pk in ids(follow_ups.visible_deliveries(world.who("dispatcher", "all")))


def test_log_ins_are_for_managers_and_of_people_who_see_nothing_that_the_viewer_does_not(world: World) -> None:
    client, other = world.ours.client, world.theirs.client
    sees: dict[str, list[Any] | None] = {"all": None, "ours": [client], "both": [client, other], "none": []}
    users = {}
    for name, clients in sees.items():
        users[name] = make_user(f"{name} of them", "technician", sees_all_clients=clients is None)
        users[name].clients.set(clients or ())
        Person.objects.create(name=name, user=users[name])
    without = Person.objects.create(name="without")
    limited, everything = world.who("manager"), world.who("manager", "all")
    assert {users["ours"].pk} == ids(people.visible_accounts(limited))
    assert {each.pk for each in users.values()} <= ids(people.visible_accounts(everything))
    assert {users["ours"].person.pk, without.pk} == ids(people.people_with_accounts(limited)) & {
        without.pk, *(each.person.pk for each in users.values()),
    }  # fmt: skip
    assert people.deeds_of(limited, users["both"].person) == []
    for nobody in (world.who("manager", "gone"), *(world.who(role, "all") for role in EVERYBODY if role != "manager")):
        assert not people.visible_accounts(nobody).exists() and not people.people_with_accounts(nobody).exists()
        assert not people.is_sole_manager(nobody)
    assert people.is_sole_manager(everything)
    second = make_user("second manager", "manager")
    assert not people.is_sole_manager(everything)
    second.delete()


def test_what_an_address_names_is_told_to_who_may_see_the_trail(world: World) -> None:
    asked = [f"/buildings/{world.ours.building.id}/", f"/visits/{world.theirs.visit.id}/", "/buildings/"]
    said = {str(world.ours.building.id), str(world.theirs.visit.id)}
    for role in EVERYBODY:
        for sees in ("all", "ours", "none", "gone"):
            names = audit.names_in(world.who(role, sees), asked)
            assert set(names) == (said if (role, sees) == ("manager", "all") else set())


def test_what_somebody_did_last_is_told_the_latest_first(world: World, person: Person, body: Any) -> None:
    user = person.user
    assert user is not None
    store(body, user)
    create_token(user=user, actor=user, name="phone", scope="read", days=1, now=NOON)
    viewer = world.who("manager", "all")
    deeds = people.deeds_of(viewer, person)
    assert [(each.what, each.name) for each in deeds] == [("token_made", "phone"), ("visit", "")]
    assert people.deeds_of(viewer, Person.objects.create(name="without")) == []


# ---- narrowed by the day or by what came of it ----


def test_what_was_seen_to_is_no_longer_open(world: World) -> None:
    viewer, ours = world.who("dispatcher"), world.ours
    type(ours.question).objects.filter(id=ours.question.id).update(resolved_at=MOMENT)
    type(ours.defect).objects.filter(id=ours.defect.id).update(resolved_at=MOMENT)
    type(ours.delivery).objects.filter(id=ours.delivery.id).update(sent_at=MOMENT)
    for name in ("open questions", "open defects", "late defects", "open deliveries", "late deliveries"):
        assert not ROWS[name][0](viewer).exists(), name
    for name in ("questions", "defects", "deliveries"):
        assert ROWS[name][0](viewer).exists(), name


def test_the_last_day_itself_is_not_late(world: World) -> None:
    viewer = world.who("dispatcher")
    assert not follow_ups.overdue_defects(viewer, YESTERDAY).exists()
    assert not follow_ups.overdue_deliveries(viewer, YESTERDAY).exists()


@pytest.mark.parametrize(
    ("changes", "standing", "dated", "undecided", "suspended"),
    [
        ({}, True, True, False, False),
        ({"due": None}, True, False, False, False),
        ({"cannot_tell": [["no_start", {}]]}, True, False, True, False),
        ({"due": None, "suspended_since": YESTERDAY}, True, False, False, True),
        ({"until": YESTERDAY}, False, False, False, False),
    ],
)
def test_a_required_check_stands_is_dated_undecided_or_suspended(
    world: World, changes: dict[str, Any], standing: bool, dated: bool, undecided: bool, suspended: bool
) -> None:
    row, viewer = world.ours.required_check, world.who("auditor")
    type(row).objects.filter(id=row.id).update(**changes)
    asked = (
        required_checks.standing_required_checks,
        required_checks.dated_required_checks,
        required_checks.undecided_required_checks,
        required_checks.suspended_required_checks,
    )
    assert [query(viewer, DAY).exists() for query in asked] == [standing, dated, undecided, suspended]


def test_nothing_is_asked_of_an_appliance_that_has_left(world: World) -> None:
    appliance, viewer = world.ours.appliance, world.who("auditor")
    type(appliance).objects.filter(id=appliance.id).update(in_service_from=YESTERDAY, in_service_to=YESTERDAY)
    assert required_checks.standing_required_checks(viewer, YESTERDAY).exists()
    assert not required_checks.standing_required_checks(viewer, DAY).exists()


# ---- nothing is left out here ----

# Tested by what they are about, in the other files of this folder, or by their own page and paper.
ELSEWHERE = {
    *(
        "access.tokens_of",
        "access.visible_tokens",
        "access.log_ins_of",
        "access.has_second_factor",
        "access.lacks_second_factor",
        "access.needs_second_factor",
        "advice.advise_on",
        "audit.visible_audit_entries",
        "audit.has_come_from",
        "register.analyser_states",
        "alerts.on_call_list",
        "alerts.may_be_on_call",
        "alerts.summary_items",
    ),
    *("attention.attention_for", "calendars.may_have_calendar", "calendars.address_for", "calendars.events_for"),
    *("consequences.preview_sheet", "consequences.preview_limit_set", "follow_ups.without_record"),
    *("forecasts.forecast_accuracy_for", "forecasts.analysers_off", "jobs.visible_jobs", "jobs.failed_jobs"),
    *("jobs.background_work", "planning_settings.preview_planning_settings", "revisits.named_in_doubt"),
    *("sheets.sheets_at_a_glance", "sheets.sheet_for", "sheets.limit_sets_at_a_glance", "sheets.limit_set_for"),
    *("sheets.standing_sheet", "sheets.standing_limit_set", "visits.visits_at_a_glance"),
}
HERE = {
    *("records.visible_records", "records.unreadable_records", "records.all_unreadable_records"),
    "records.entry_changes",
    *("register.the_contractor", "webhooks.allowed_targets", "webhooks.hooks_of"),
    "audit.names_in",
    *("people.visible_accounts", "people.people_with_accounts", "people.deeds_of", "people.is_sole_manager"),
    *("required_checks.undecided_required_checks", "required_checks.suspended_required_checks"),
}


def test_every_query_is_asked_by_each_kind_of_viewer() -> None:
    folder = Path(inspect.getfile(attention)).parent
    public = {
        f"{path.stem}.{name}"
        for path in folder.glob("[a-z]*.py")
        for name, one in vars(import_module(f"fleet.queries.{path.stem}")).items()
        if inspect.isfunction(one) and one.__module__ == f"fleet.queries.{path.stem}" and not name.startswith("_")
    }
    asked = [*(each[0] for each in (*ROWS.values(), *BY_ID.values())), *HOUSE.values(), statement_for]
    called = {name for each in asked for name in (each.__name__, *each.__code__.co_names)}
    named = {each for each in public if each.partition(".")[2] in called}
    assert public == named | HERE | ELSEWHERE
