"""A visit sent by a technician's program through the API, seen on the pages of everybody whom it concerns."""

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser

from fleet import clock
from fleet.models import Analyser, Appliance, Job, Person, User
from fleet.services.access import create_token
from fleet.tasks import run_job
from tests.cast import measured, visit_body
from tests.web.markup import words_of
from tests.web.opened import browser_of, opened
from tests.web.world import add_yearly_required_check


@pytest.fixture
def yesterday() -> str:
    return f"{clock.now().date() - timedelta(days=1):%Y-%m-%d}"


def post(user: User, body: dict[str, Any]) -> Any:
    _token, secret = create_token(user=user, actor=user, now=clock.now(), name="phone", scope="write", days=1)
    headers = {"Authorization": f"Bearer {secret}"}
    return Browser(headers=headers).post("/api/v1/visits", json.dumps(body), content_type="application/json")


def do_what_is_due() -> None:
    for each in list(Job.objects.filter(state=Job.State.WAITING).values_list("id", flat=True)):
        run_job(each)


def test_a_visit_left_outside_is_seen_by_dispatcher_and_auditor(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User, auditor: User,
    yesterday: str,
) -> None:  # fmt: skip
    add_yearly_required_check(boiler, dispatcher)
    body = visit_body(boiler, person, analyser, day=yesterday, left=("10.30", "9.10"))
    assert post(technician, body).status_code == 201
    assert post(technician, body).status_code == 200  # the phone tries again: stored once
    do_what_is_due()

    attention = words_of(opened(dispatcher, "/"))
    assert "one outside a limit" in attention
    assert (
        "CO₂ at high fire, as left, was 10.30 % , outside the limits of Test sheet v1 (9.1 to 9.7 %) as recorded."
        in attention
    )
    appliance = words_of(opened(dispatcher, f"/appliances/{boiler.id}/"))
    assert "outside, found and left" in appliance
    assert "See it by" in appliance

    today = f"{clock.now().date():%Y-%m-%d}"
    query = f"?client={boiler.building.client_id}&begins={yesterday}&ends={today}"
    statement = words_of(opened(auditor, f"/statements/{query}"))
    assert "One appliance of Weir Trust was in service" in statement
    assert "one outside" in statement
    for path in (f"/visits/{body['id']}/paper.pdf", f"/statements/statement.pdf{query}"):
        assert browser_of(auditor).get(path).content.startswith(b"%PDF-")


def test_an_unsafe_visit_is_framed_until_somebody_answers(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, dispatcher: User, yesterday: str
) -> None:
    body = visit_body(boiler, person, analyser, day=yesterday, left=None)
    for each in body["readings"]:
        each["values"]["co"] = measured("2000", "ppm", "more_than")
    body["disposition"] = {"state": "isolated", "unsafe": True, "details": {"told": "the caretaker"}}
    assert post(technician, body).status_code == 201
    page = opened(dispatcher, "/")
    assert "Declared unsafe, nobody has answered for it yet" in words_of(page)
    flag = boiler.flags.get(kind="unsafe")
    browser_of(dispatcher).post(f"/flags/{flag.id}/acknowledge/", {"version": flag.version, "words": ""})
    assert "dispatcher answers for it since" in words_of(opened(dispatcher, "/"))


def test_a_message_that_cannot_be_read_waits_for_the_office(
    boiler: Appliance, technician: User, dispatcher: User
) -> None:
    body = {"schema": "visit/1", "appliance": str(boiler.id), "disposition": {"state": "isolated", "unsafe": True}}
    assert post(technician, body).status_code == 422
    assert "1 message could not be read" in words_of(opened(dispatcher, "/"))
    assert "Declared unsafe in a message that could not be read" in words_of(
        opened(dispatcher, f"/appliances/{boiler.id}/")
    )
    assert "visit/1" in words_of(opened(dispatcher, "/records/"))
