"""What the database itself refuses, whoever writes: of each rule a row that breaks it and one that just keeps it."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, models, transaction

from fleet.models import (
    Alert,
    AlertSettings,
    AllowedTarget,
    Appliance,
    AuditEntry,
    Building,
    CalendarEntry,
    CalendarLink,
    Calibration,
    Client,
    Contractor,
    Correction,
    Delivery,
    Diagnosis,
    Flag,
    Forecast,
    ForecastCheck,
    GasSupply,
    HookDelivery,
    Job,
    Judgement,
    LimitSet,
    LimitSetAssignment,
    LimitSetVersion,
    NoAccess,
    OnCall,
    OutOfUse,
    Person,
    Qualification,
    Reading,
    Record,
    RequiredCheck,
    Retest,
    Revisit,
    Sending,
    SheetVersion,
    Snapshot,
    StopLevels,
    StoredFile,
    Tenancy,
    UnreadableRecord,
    User,
    Visit,
)
from tests.models.rows import DAY, MOMENT, made

pytestmark = pytest.mark.django_db
NEXT_DAY, DAY_BEFORE = DAY + timedelta(days=1), DAY - timedelta(days=1)
MINUTE = timedelta(minutes=1)
A_TABLE = type[models.Model]


def refused(table: A_TABLE, **values: Any) -> str:
    """What the database says; fails where it takes the row."""
    with pytest.raises(IntegrityError) as said, transaction.atomic():
        made(table, **values)
    return str(said.value)


# ---- of one row ----

# Constraint, table, values that break it, values that just keep it.
CHECKS: list[tuple[str, A_TABLE, dict[str, Any], dict[str, Any]]] = [
    ("user_role_is_known", User, {"role": "owner"}, {"role": "auditor"}),
    ("audit_entry_kind_is_known", AuditEntry, {"kind": "rumoured"}, {"kind": "viewed"}),
    ("alert_way_is_known", Alert, {"way": "sms"}, {"way": "email"}),
    ("on_call_within_four_hours", OnCall, {"after_minutes": 241}, {"after_minutes": 240}),
    ("summary_hour_is_an_hour", AlertSettings, {"hour": 24}, {"hour": 23}),
    ("calibration_lasts_from_its_day", Calibration, {"done_on": DAY, "valid_to": DAY_BEFORE}, {"valid_to": DAY}),
    ("building_altitude_is_on_land", Building, {"altitude_m": -451}, {"altitude_m": -450}),
    ("building_altitude_is_on_land", Building, {"altitude_m": 6001}, {"altitude_m": 6000}),
    ("appliance_leaves_after_it_came", Appliance, {"in_service_to": DAY_BEFORE}, {"in_service_to": DAY}),
    ("sending_fails_after_it_went", Sending, {"failed_at": MOMENT - MINUTE}, {"failed_at": MOMENT}),
    ("restart_not_before_it_stood_still", OutOfUse, {"ends": DAY_BEFORE}, {"ends": DAY}),
    (
        "qualification_ends_after_it_begins",
        Qualification,
        {"valid_from": DAY, "valid_to": DAY_BEFORE},
        {"valid_from": DAY, "valid_to": DAY},
    ),
    ("required_check_source_known", RequiredCheck, {"source": "law"}, {"source": "conversion"}),
    ("revisit_window_is_in_order", Revisit, {"earliest": DAY, "latest": DAY_BEFORE}, {"earliest": DAY, "latest": DAY}),
    ("revisit_is_set_for_a_day", Revisit, {"state": "booked"}, {"state": "booked", "day": DAY}),
    ("revisit_is_set_for_a_day", Revisit, {"state": "proposed", "day": DAY}, {"state": "confirmed", "day": DAY}),
    ("revisit_is_set_for_a_day", Revisit, {"state": "dreamt of", "day": DAY}, {"state": "proposed"}),
]


@pytest.mark.parametrize(("name", "table", "breaks", "keeps"), CHECKS, ids=[f"{each[0]}-{each[2]}" for each in CHECKS])
def test_a_row_that_contradicts_itself_is_refused(
    name: str, table: A_TABLE, breaks: dict[str, Any], keeps: dict[str, Any]
) -> None:
    assert name in refused(table, **breaks)
    made(table, **keeps)


@pytest.mark.parametrize("choice", ["accepted_risk", "accepted_risk_co", "accepted_risk_rise", "flag_at"])
def test_what_the_contractor_accepts_is_a_chance_neither_none_nor_certain(choice: str) -> None:
    for value in (0.0, 1.0, -0.1, 8.0):
        with pytest.raises(IntegrityError, match=f"{choice}_is_a_chance"), transaction.atomic():
            Contractor.objects.update(**{choice: value})
    assert Contractor.objects.update(**{choice: 0.001}) == Contractor.objects.update(**{choice: 0.999}) == 1


def test_there_is_one_contractor() -> None:
    assert "one_contractor" in refused(Contractor, id=2)


def test_nobody_goes_on_no_day() -> None:
    person = made(Person)
    assert "who_goes_goes_on_a_day" in refused(Revisit, technician=person)
    made(Revisit, technician=person, state="booked", day=DAY)


PLACES: dict[str, A_TABLE] = {"client": Client, "building": Building, "appliance": Appliance}


def places(*names: str) -> Iterator[tuple[str, ...]]:
    """Every choice of some of the names."""
    for number in range(2 ** len(names)):
        yield tuple(name for place, name in enumerate(names) if number >> place & 1)


@pytest.mark.parametrize(
    ("name", "table", "named"),
    [
        ("assignment_has_one_place", LimitSetAssignment, PLACES),
        ("calendar_of_a_person_or_a_client", CalendarLink, {"user": User, "client": Client}),
        ("file_is_of_one_thing", StoredFile, {"visit": Visit, "no_access": NoAccess}),
    ],
)  # fmt: skip
def test_what_is_of_one_of_several_is_of_exactly_one(name: str, table: A_TABLE, named: dict[str, A_TABLE]) -> None:
    rows = {each: made(kind) for each, kind in named.items()}
    for chosen in places(*named):
        values = {each: rows[each] if each in chosen else None for each in named}
        if len(chosen) == 1:
            made(table, **values)
        else:
            assert name in refused(table, **values)


# ---- of two rows ----

# Constraint, table, the columns that no two rows share, values under which that is asked, and under which it isn't.
TWICE: list[tuple[str, A_TABLE, tuple[str, ...], dict[str, Any], dict[str, Any] | None]] = [
    ("one_alert_a_round", Alert, ("flag", "alerted_from", "round", "user"), {}, None),
    ("one_gas_supply_a_day", GasSupply, ("building", "since"), {}, None),
    ("sheet_version_number_once", SheetVersion, ("sheet", "number"), {}, None),
    ("limit_set_version_number_once", LimitSetVersion, ("limit_set", "number"), {}, None),
    ("one_calendar_entry_a_uid", CalendarEntry, ("address", "uid"), {}, None),
    ("one_delivery_a_visit_and_recipient", Delivery, ("visit", "limit_set", "recipient"), {}, {"tenancy": Tenancy}),
    (
        "one_delivery_a_tenancy_and_recipient",
        Delivery,
        ("visit", "limit_set", "recipient", "tenancy"),
        {"tenancy": Tenancy},
        None,
    ),
    ("same_file_once_a_visit_and_what", StoredFile, ("visit", "what", "sha256"), {"visit": Visit}, None),
    ("same_file_once_an_attempt_and_what", StoredFile, ("no_access", "what", "sha256"), {"no_access": NoAccess}, None),
    ("one_open_flag_a_reason", Flag, ("appliance", "kind", "key"), {}, {"closed_at": MOMENT}),
    ("one_snapshot_in_force", Snapshot, ("quantity", "rate"), {"in_force": True}, {"in_force": False}),
    ("one_forecast_a_series", Forecast, ("appliance", "quantity", "rate"), {}, None),
    ("one_forecast_check_a_reading", ForecastCheck, ("visit", "quantity", "rate"), {}, None),
    ("one_waiting_job_a_key", Job, ("kind", "key"), {"state": "waiting"}, {"state": "done"}),
    ("one_running_job_a_key", Job, ("kind", "key"), {"state": "running"}, {"state": "failed"}),
    ("one_job_a_slot", Job, ("kind", "key"), {"is_slot": True, "state": "done"}, {"state": "done"}),
    ("pattern_once_a_visit", Diagnosis, ("visit", "pattern"), {}, None),
    ("one_attempt_a_moment", NoAccess, ("appliance", "at"), {}, None),
    ("out_of_use_once_at_a_time", OutOfUse, ("appliance",), {}, {"ends": NEXT_DAY}),
    ("one_waiting_correction_a_visit", Correction, ("visit",), {}, {"ended_at": MOMENT}),
    ("one_open_unreadable_body", UnreadableRecord, ("actor", "body_sha256"), {}, {"resolved_at": MOMENT}),
    (
        "one_required_check_an_assignment_and_part",
        RequiredCheck,
        ("appliance", "assignment", "part"),
        {"assignment": LimitSetAssignment},
        {"until": NEXT_DAY, "assignment": LimitSetAssignment},
    ),
    ("one_retest_a_visit_and_set", Retest, ("visit", "limit_set"), {}, None),
    ("one_tenancy_a_building_and_day", Tenancy, ("building", "begins"), {}, None),
    ("one_tenancy_an_appliance_and_day", Tenancy, ("appliance", "begins"), {"appliance": Appliance}, None),
    ("reading_number_once_a_visit", Reading, ("visit", "number"), {}, None),
    ("one_delivery_an_event", HookDelivery, ("hook", "event"), {}, None),
]


def with_rows(values: dict[str, Any]) -> dict[str, Any]:
    return {name: made(one) if isinstance(one, type) else one for name, one in values.items()}


@pytest.mark.parametrize(("name", "table", "columns", "asked", "unasked"), TWICE, ids=[each[0] for each in TWICE])
def test_a_second_row_of_the_same_is_refused_and_one_that_differs_is_taken(
    name: str, table: A_TABLE, columns: tuple[str, ...], asked: dict[str, Any], unasked: dict[str, Any] | None
) -> None:
    first = made(table, **with_rows(asked))
    same = {column: getattr(first, column) for column in columns}
    plain = {column: value for column, value in with_rows(asked).items() if column not in columns}
    said = refused(table, **plain | same)
    assert name in said or all(table._meta.get_field(column).column in said for column in columns)
    # One that differs in a single column is another thing.
    for column in columns:
        other = with_rows({each: kind for each, kind in asked.items() if each == column})
        made(table, **plain | {each: value for each, value in same.items() if each != column} | other | _other(
            table, column, other))  # fmt: skip
    if unasked is not None:
        made(table, **same | with_rows({each: one for each, one in unasked.items() if each not in columns}))


def _other(table: A_TABLE, column: str, made_already: dict[str, Any]) -> dict[str, Any]:
    """Another value for a column that a made-up row would fill alike."""
    if made_already:
        return {}
    field = table._meta.get_field(column)
    if isinstance(field, models.DateTimeField):
        return {column: MOMENT + MINUTE}
    if isinstance(field, models.DateField):
        return {column: NEXT_DAY}
    if isinstance(field, models.CharField):
        return {column: [*field.choices][1][0] if field.choices else "another"}
    return {}


# Columns of which no two rows have the same.
ALONE: list[tuple[A_TABLE, str, Any]] = [
    (User, "username", "ada"),
    (OnCall, "user", User),
    (Appliance, "replaces", Appliance),
    (CalendarLink, "secret_sha256", "0" * 64),
    (Judgement, "visit", Visit),
    (LimitSet, "key", "a-set-of-ours"),
    (Person, "user", User),
    (Record, "amends", Record),
    (Revisit, "appliance", Appliance),
    (StopLevels, "number", 99),
    (Visit, "record", Record),
    (AllowedTarget, "host", "hooks.test"),
    (Client, "external_reference", "C-1"),
]


@pytest.mark.parametrize(("table", "column", "value"), ALONE, ids=[f"{one.__name__}-{two}" for one, two, _ in ALONE])
def test_no_two_rows_share_it(table: A_TABLE, column: str, value: Any) -> None:
    (value,) = with_rows({column: value}).values()
    made(table, **{column: value})
    refused(table, **{column: value})


def test_a_correction_is_not_a_first_record() -> None:
    first = made(Record)
    assert "kind" in refused(Record, kind=first.kind, subject=first.subject)
    second = made(Record, kind=first.kind, subject=first.subject, amends=first)
    made(Record, kind=first.kind, subject=first.subject, amends=second)
    made(Record, kind="other", subject=first.subject)


def test_a_tenancy_of_the_building_and_one_of_an_appliance_may_begin_on_one_day() -> None:
    whole = made(Tenancy)
    appliance = made(Appliance, building=whole.building)
    made(Tenancy, building=whole.building, appliance=appliance)
    made(Tenancy, building=whole.building, appliance=made(Appliance, building=whole.building))


def test_every_constraint_of_every_table_is_tried_here() -> None:
    """One that is taken away is missed, one that is added asks for its row above."""
    standing = {
        constraint.name for table in apps.get_app_config("fleet").get_models() for constraint in table._meta.constraints
    }
    tried = {
        *(each[0] for each in (*CHECKS, *TWICE)),
        *(f"{each}_is_a_chance" for each in ("accepted_risk", "accepted_risk_co", "accepted_risk_rise", "flag_at")),
        *("one_contractor", "who_goes_goes_on_a_day", "assignment_has_one_place", "one_first_record_a_subject"),
        *("calendar_of_a_person_or_a_client", "file_is_of_one_thing"),
    }  # fmt: skip
    assert standing == tried


# ---- nothing is swept away ----

# What hangs wholly on another row and goes with it.
OWNED = {
    ("Reading", "visit"), ("WorkItem", "visit"), ("Diagnosis", "visit"), ("ForecastCheck", "visit"),
    ("VisitCheck", "visit"), ("VisitCheck", "appliance"), ("Finding", "judgement"), ("CalendarEntry", "address"),
    ("HookDelivery", "hook"), ("ApiToken", "user"), ("LogIn", "user"),
}  # fmt: skip


def test_history_is_never_swept_away_with_what_it_is_about() -> None:
    cascading = {
        (table.__name__, field.name)
        for table in apps.get_app_config("fleet").get_models()
        for field in table._meta.concrete_fields
        if isinstance(field, models.ForeignKey) and field.remote_field.on_delete is not models.PROTECT
    }
    assert cascading == OWNED


@pytest.mark.parametrize("table", [Appliance, Building, Client, User, Person, LimitSet])
def test_a_row_of_the_register_that_something_hangs_on_stays(table: A_TABLE) -> None:
    hanging = {Appliance: Flag, Building: Appliance, Client: Building, User: Record, Person: Qualification}
    child = made(hanging.get(table, LimitSetVersion))
    (parent,) = {
        getattr(child, field.name)
        for field in child._meta.concrete_fields
        if isinstance(field, models.ForeignKey) and field.related_model is table
    }
    with pytest.raises(models.ProtectedError):
        parent.delete()
    assert table._default_manager.filter(pk=parent.pk).exists()
