"""What was changed on the register, as pages, paper and programs meet it."""

from datetime import date
from typing import Any

import pytest
from django.test import Client as Browser

from fleet.intake.visits import read_visit
from fleet.models import Analyser, Appliance, Record, User
from fleet.models.records import content_of
from fleet.services.appliances import change_appliance, take_on_appliance
from fleet.services.visits import amend_visit
from tests.cast import NOON, store
from tests.models.rows import DAY
from tests.reports.reading import words
from tests.web.markup import words_of

pytestmark = pytest.mark.django_db


def patched(client: Browser, path: str, body: dict[str, Any]) -> Any:
    named = {"If-Match": '"1"'}
    return client.patch(f"/api/v1/{path}", body, content_type="application/json", headers=named)


def test_statement_and_pages_say_who_took_it_out_of_service(boiler: Appliance, manager: User, client: Browser) -> None:
    values = {"building": boiler.building, "name": "Boiler 2", "in_service_from": date(2020, 1, 1)}
    made = take_on_appliance(values=values, actor=manager, now=NOON)
    change_appliance(appliance=made, version=1, changes={"in_service_to": DAY}, actor=manager, now=NOON)
    client.force_login(manager)
    asked = {"client": str(boiler.building.client_id), "begins": "2026-01-01", "ends": "2026-03-02"}
    said = f"Appliance, Boiler 2, {boiler.building.name}: changed. In service to: none, now 2 Mar 2026"
    assert said in words_of(client.get("/statements/", asked).content.decode())
    assert said in " ".join(words(client.get("/statements/statement.pdf", asked).content).split())
    page = words_of(client.get(f"/appliances/{made.id}/").content.decode())
    assert "In service to: was -, is 2 Mar 2026" in page
    assert f"{manager}" in page


def test_through_the_api_every_change_of_a_deciding_field_is_recorded(
    boiler: Appliance, analyser: Analyser, manager: User, client: Browser
) -> None:
    """Whichever door it comes through: nothing that decides is changed without its record."""
    client.force_login(manager)
    for path, body in [
        (f"appliances/{boiler.id}", {"serial": "N-1"}),
        (f"buildings/{boiler.building_id}", {"altitude_m": 120}),
        (f"analysers/{analyser.id}", {"accuracy": {"co": {"absolute": 5}}}),
    ]:
        before = Record.objects.count()
        assert patched(client, path, body).status_code == 200, path
        newest = Record.objects.order_by("-id")[0]
        assert Record.objects.count() == before + 1
        assert (newest.kind, newest.actor) == (path.split("/")[0].removesuffix("s"), manager)
        assert content_of(newest)["was"] != content_of(newest)["is"]


def test_every_version_of_a_visit_can_be_opened_and_says_what_it_changed(
    body: dict[str, Any], technician: User, manager: User, client: Browser
) -> None:
    visit = store(body, technician)
    amend_visit(draft=read_visit(body | {"note": "Second key"}), reason="forgotten", version=1, actor=manager, now=NOON)
    first, second = Record.objects.filter(subject=visit.id).order_by("id")
    client.force_login(manager)
    pages = [words_of(client.get(f"/records/{each.id}/").content.decode()) for each in (first, second)]
    assert f"SHA-256 {first.sha256}" in pages[0] and "The version after" in pages[0]
    assert "Second key" not in pages[0] and "What it changed" not in pages[0]
    assert "What it changed Field Was Is Note - Second key" in pages[1] and "forgotten" in pages[1]
    assert f"/records/{first.id}/" in client.get(f"/visits/{visit.id}/").content.decode()
