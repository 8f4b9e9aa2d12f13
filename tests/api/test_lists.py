"""Lists: pages by key, however deep; the same few queries however many rows; only what the viewer may see."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from api import urls
from api.doors import ListDoor
from fleet.coded import coded
from fleet.models import (
    Alert,
    AllowedTarget,
    Analyser,
    Appliance,
    CalendarLink,
    Client,
    Correction,
    Delivery,
    Flag,
    FlueGroup,
    GasConversion,
    GasSupply,
    HookDelivery,
    LimitSet,
    NoAccess,
    OnCall,
    OutOfUse,
    Person,
    Record,
    Retest,
    Revisit,
    Tenancy,
    User,
    Visit,
    Webhook,
)
from fleet.models.register import new_id
from fleet.services.audit import note
from fleet.services.files import store_file
from fleet.services.limit_sets import assign_limit_set
from fleet.services.revisits import refresh_appliance
from fleet.services.visits import keep_unreadable
from tests import cast, pictures
from tests.api.conftest import Door

MOST_QUERIES = 12
LISTS = sorted(
    (each.name, str(each.pattern))
    for each in urls.urlpatterns
    if issubclass(getattr(each.callback, "cls", object), ListDoor)
)


@pytest.fixture
def busy(
    body: dict[str, Any], boiler: Appliance, technician: User, manager: User, settings: Any, tmp_path: Path
) -> Appliance:
    """The boiler with something in every list."""
    body["readings"][0]["analyser"] = "borrowed"
    body["defects"] = [{"what": "loose label", "severity": "repair", "repair_by": "2026-04-01"}]
    settings.MEDIA_ROOT = tmp_path
    store_file(visit=cast.store(body, technician), name="data_plate", media_type="image/png", data=pictures.png(),
               what="data_plate", actor=technician, now=cast.NOON)  # fmt: skip
    fill(boiler, manager, "first")
    refresh_appliance(appliance=boiler, now=cast.NOON)
    return boiler


def fill(boiler: Appliance, manager: User, name: str) -> None:
    limit_set = next(
        each for each in LimitSet.objects.all() if each.current.content["interval"]["type"] == "max_months"
    )
    place = {"limit_set": limit_set, "appliance": boiler, "since": "2025-01-01", "why": "local law"}
    assign_limit_set(values=place, actor=manager, now=cast.NOON)
    FlueGroup.objects.create(building=boiler.building, name=name)
    since = date(2026, 4, 1 + GasSupply.objects.count())
    GasSupply.objects.create(building=boiler.building, since=since, fuel="methane", source="the network")
    Tenancy.objects.create(building=boiler.building, appliance=boiler, begins=since, source="the agent")
    Flag.objects.create(appliance=boiler, kind=Flag.Kind.OUTSIDE, key=name, sentence="O2 is outside.",
                        opened_at=cast.NOON, updated_at=cast.NOON)  # fmt: skip
    keep_unreadable(
        body=f"{{{name}".encode(), errors={"body": coded("blank")}, unsafe=None, actor=manager, now=cast.NOON
    )
    visit = Visit.objects.filter(appliance=boiler).latest("id")
    Correction.objects.create(
        visit=visit, content={}, submitted_sha256="0", reason="typo", takes_back=["unsafe"], of_version=1,
        made_by=manager, made_at=cast.NOON,
    )  # fmt: skip
    follow_up(boiler, limit_set, manager)
    tell_others(boiler, manager)
    changed_lives(boiler)


def follow_up(boiler: Appliance, limit_set: LimitSet, by: User) -> None:
    """A delivery, a retest, and an attempt without access with its photo."""
    visit, day = Visit.objects.filter(appliance=boiler).latest("id"), cast.NOON.date()
    sending = {"recipient": "client", "due": day, "opened_at": cast.NOON}
    Delivery.objects.create(visit=visit, limit_set=limit_set, **sending)
    clock = {"event": "co_over_300", "found_on": day, "due": day, "steps": []}
    Retest.objects.create(visit=visit, appliance=boiler, limit_set=limit_set, **clock)
    tried = {"at": cast.NOON, "local_date": day, "kind": "nobody_in", "by": by, "recorded_at": cast.NOON}
    attempt = NoAccess.objects.create(appliance=boiler, **tried)
    store_file(no_access=attempt, name="door", media_type="image/png", data=pictures.png(), what="letter", actor=by,
               now=cast.NOON)  # fmt: skip


def tell_others(boiler: Appliance, by: User) -> None:
    """A place on the list of who is on call and a telling; a calendar; a webhook with a delivery, and its host."""
    made = {"made_by": by, "made_at": cast.NOON}
    somebody = cast.make_user(f"somebody for {boiler.id}", "dispatcher")
    OnCall.objects.create(user=somebody)
    flag = Flag.objects.filter(appliance=boiler).latest("id")
    Alert.objects.create(flag=flag, alerted_from=cast.NOON, round=1, user=somebody, due_at=cast.NOON)
    CalendarLink.objects.create(client=boiler.building.client, secret_sha256=boiler.id.hex * 2, **made)
    hook = Webhook.objects.create(name=boiler.name, url="https://office.example/in", kinds=["flag_opened"], **made)
    HookDelivery.objects.create(hook=hook, kind="flag_opened", event=str(flag.id), body="{}", made_at=cast.NOON)
    allowed = {"host": f"{boiler.id}.example", "why": "ours", "allowed_by": by, "allowed_at": cast.NOON}
    AllowedTarget.objects.create(**allowed)


def changed_lives(boiler: Appliance) -> None:
    """A time out of use, and a conversion to another gas."""
    record, day = Record.objects.latest("id"), date(2026, 1, 5)
    times = {"begins": day, "ends": date(2026, 1, 9), "why": "empty", "said_by": "the caretaker"}
    OutOfUse.objects.create(id=new_id(), appliance=boiler, record=record, **times)
    gas = {"from_fuel": "methane", "to_fuel": "propane", "kit": "K", "label": "L", "analyser_fuel": "propane"}
    done = {"converted_on": day, "done_by": "Invented fitter", "test_within_days": 7}
    GasConversion.objects.create(id=new_id(), appliance=boiler, record=record, **gas, **done)


def add_more(boiler: Appliance, person: Person, analyser: Analyser, manager: User) -> None:
    """Three more of everything, on appliances of their own."""
    for n in range(3):
        client = Client.objects.create(name=f"Trust {n}")
        building = cast.make_building(client, f"House {n}")
        another = cast.make_appliance(building, cast.make_sheet(manager, name=f"Sheet {n}"), f"Boiler {n}")
        cast.make_person(f"Person {n}", None, manager)
        cast.make_analyser(manager)
        body = cast.visit_body(another, person, analyser) | {
            "defects": [{"what": "loose label", "severity": "repair", "repair_by": "2026-04-01"}]
        }
        body["readings"][0]["analyser"] = "borrowed"
        cast.store(body, manager)
        fill(another, manager, f"more {n}")
        refresh_appliance(appliance=another, now=cast.NOON)
        note(kind="logged_in", user=manager, now=cast.NOON)


def counted(client: APIClient, path: str) -> tuple[int, int]:
    """Rows and queries of one page."""
    with CaptureQueriesContext(connection) as queries:
        rows = client.get(path).json()["results"]
    return len(rows), len(queries)


def test_every_list_takes_the_same_few_queries_however_many_rows(
    boss: APIClient, busy: Appliance, person: Person, analyser: Analyser, manager: User
) -> None:
    parents = {
        "analysers": analyser.id, "people": person.id, "sheets": busy.sheet_id,
        "limit-sets": LimitSet.objects.earliest("id").id, "visits": Visit.objects.earliest("id").id,
        "no-access": NoAccess.objects.earliest("id").id, "appliances": busy.id,
        "webhooks": Webhook.objects.earliest("id").id,
    }  # fmt: skip
    paths = [f"/api/v1/{path.replace('<uuid:id>', str(parents.get(path.split('/')[0])))}" for _name, path in LISTS]
    assert len(paths) >= 20
    note(kind="logged_in", user=manager, now=cast.NOON)
    few = {path: counted(boss, path) for path in paths}
    add_more(busy, person, analyser, manager)
    many = {path: counted(boss, path) for path in paths}
    assert {path: n for path, (_rows, n) in many.items() if n > MOST_QUERIES} == {}
    assert {path: (few[path], n) for path, (_rows, n) in many.items() if n > few[path][1]} == {}
    assert [path for path, (rows, _n) in few.items() if rows == 0] == []
    grown = {path for path, (rows, _n) in many.items() if rows > few[path][0]}
    assert len(grown) >= 18


def test_pages_follow_each_other_by_key_and_miss_nothing(office: APIClient) -> None:
    made = [str(Client.objects.create(name=f"Trust {n}").id) for n in range(7)]
    path, seen = "/api/v1/clients?page_size=3", []
    while path:
        page = office.get(path).json()
        seen += [each["id"] for each in page["results"]]
        path = page["next"]
    assert seen == sorted(made)


def test_a_row_made_meanwhile_moves_no_page(office: APIClient) -> None:
    made = [str(Client.objects.create(name=f"Trust {n}").id) for n in range(4)]
    first = office.get("/api/v1/clients?page_size=2").json()
    late = str(Client.objects.create(name="Late Trust").id)
    second = office.get(first["next"]).json()
    third = office.get(second["next"]).json()
    assert [each["id"] for each in second["results"] + third["results"]] == [*made[2:], late]
    assert third["next"] is None


def test_lists_show_only_what_the_viewer_may_see(door: Door, others: dict[str, Any], busy: Appliance) -> None:
    theirs = door(others["dispatcher"])
    for name in (
        "visits",
        "flags",
        "required-checks",
        "revisits",
        "defects",
        "questions",
        "forecasts",
        "limit-set-assignments",
        "flue-groups",
    ):
        assert theirs.get(f"/api/v1/{name}").json()["results"] == [], name
    assert [each["id"] for each in theirs.get("/api/v1/appliances").json()["results"]] == [str(others["appliance"].id)]
    assert {each["kind"] for each in theirs.get("/api/v1/records?page_size=200").json()["results"]}.isdisjoint(
        {"visit"}
    )


def test_a_filter_by_a_foreign_id_is_not_found(door: Door, others: dict[str, Any], busy: Appliance) -> None:
    theirs = door(others["dispatcher"])
    place = {"client": busy.building.client_id, "building": busy.building_id, "appliance": busy.id}
    for name in ("visits", "flags", "required-checks", "revisits", "defects", "questions", "forecasts"):
        for parameter, value in place.items():
            assert theirs.get(f"/api/v1/{name}", {parameter: str(value)}).status_code == 404
            assert theirs.get(f"/api/v1/{name}", {parameter: str(new_id())}).status_code == 404


def test_appliances_are_narrowed_by_place_sheet_and_service(office: APIClient, busy: Appliance) -> None:
    gone = cast.make_appliance(busy.building, None, "Old boiler", in_service_to="2024-12-31")

    def names(**query: str) -> list[str]:
        return [each["name"] for each in office.get("/api/v1/appliances", query).json()["results"]]

    assert names(in_service="false") == [gone.name]
    assert names(sheet=str(busy.sheet_id), in_service="true") == [busy.name]
    assert names(client=str(busy.building.client_id)) == [busy.name, gone.name]
    assert office.get("/api/v1/appliances?in_service=yes").status_code == 400


def test_the_whole_history_of_an_appliance_is_one_answer(field: APIClient, busy: Appliance) -> None:
    with CaptureQueriesContext(connection) as queries:
        shown = field.get(f"/api/v1/appliances/{busy.id}/history").json()
    assert shown["appliance"]["id"] == str(busy.id)
    assert shown["last"]["id"] == shown["visits"][0]["id"]
    assert shown["sheet_version"] == 1
    assert shown["revisit"]["id"] == str(Revisit.objects.get().id)
    assert all(shown[name] for name in ("forecasts", "flags", "required_checks", "defects", "attempts", "records"))
    assert len(queries) <= 41


def test_the_card_is_the_table_that_readings_are_judged_by(
    field: APIClient, busy: Appliance, analyser: Analyser
) -> None:
    shown = field.get(f"/api/v1/appliances/{busy.id}/card", {"analyser": str(analyser.id)}).json()
    bands = [(each["lower"], each["upper"]) for each in shown["card"]["bands"]]
    assert bands == [(9.1, 9.7), (8.8, 9.4)]
    assert shown["card"]["stop_levels"]
    assert shown["card"]["limits"]
    assert shown["card"]["analyser"]["id"] == str(analyser.id)
    assert field.get(f"/api/v1/appliances/{busy.id}/card", {"analyser": str(new_id())}).status_code == 404


def test_an_appliance_without_sheet_has_a_card_with_stop_levels(boss: APIClient, others: dict[str, Any]) -> None:
    card = boss.get(f"/api/v1/appliances/{others['appliance'].id}/card").json()["card"]
    assert card["bands"] == []
    assert card["stop_levels"]


def test_attention_names_what_is_open_first(field: APIClient, busy: Appliance) -> None:
    shown = field.get("/api/v1/attention").json()
    assert shown["is_quiet"] is False
    assert [each["flag"]["kind"] for each in shown["outside"]] == ["outside_a_limit"]
    assert shown["unreadable_records"] == 1
