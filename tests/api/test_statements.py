"""Statements at the door: as data, on paper and as a table, for what the viewer may see."""

import csv
import io
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, User
from tests import cast
from tests.api.conftest import Door

STATEMENTS = "/api/v1/statements"
PERIOD = {"begins": "2026-01-01", "ends": "2026-12-31"}


@pytest.fixture
def tested(body: dict[str, Any], boiler: Appliance, technician: User) -> Appliance:
    cast.store(body, technician)
    return boiler


def test_a_statement_says_what_was_recorded(office: APIClient, tested: Appliance) -> None:
    query = {"client": str(tested.building.client_id), **PERIOD}
    shown = office.get(STATEMENTS, query).json()
    (line,) = shown["lines"]
    assert (line["appliance"], line["last_on"], line["visits_in_period"]) == (str(tested.id), "2026-03-02", 1)
    assert {each["outcome"] for each in line["outcomes"]} == {"within"}
    assert office.get(STATEMENTS, {"building": str(tested.building_id), **PERIOD}).json()["lines"] == [line]


def test_a_statement_comes_as_pdf_and_csv(office: APIClient, tested: Appliance) -> None:
    query = {"building": str(tested.building_id), **PERIOD}
    paper = office.get(STATEMENTS, query | {"as": "pdf"})
    assert paper["Content-Type"] == "application/pdf"
    assert paper.content.startswith(b"%PDF")
    table = office.get(STATEMENTS, query | {"as": "csv"})
    assert table["Content-Type"].startswith("text/csv")
    rows = list(csv.reader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert len(rows) >= 2
    assert any("Boiler 1" in cell for cell in rows[1])


@pytest.mark.parametrize(
    ("query", "wrong"),
    [
        ({}, "client"),
        ({"client": "7"}, "client"),
        ({"begins": "soon"}, "begins"),
        ({"ends": "2026-02-30"}, "ends"),
        ({"ends": "2025-01-01"}, "ends"),
        ({"ends": "9999-12-31"}, "ends"),
        ({"begins": "0001-01-01"}, "begins"),
        ({"as": "doc"}, "as"),
    ],
)
def test_what_a_statement_needs_is_named(
    office: APIClient, tested: Appliance, query: dict[str, str], wrong: str
) -> None:
    place = {"client": str(tested.building.client_id)} if query else {}
    refused = office.get(STATEMENTS, PERIOD | place | query)
    assert (refused.status_code, list(refused.json()["errors"])) == (400, [wrong])


@pytest.mark.parametrize("shape", ["json", "pdf", "csv"])
def test_the_widest_period_with_the_longest_rule_is_told(office: APIClient, tested: Appliance, shape: str) -> None:
    required_check = {"appliance": str(tested.id), "name": "Rare check", "source": "contract", "why": "clause 4"}
    rule = {"type": "max_months", "months": 1200}
    assert (
        office.post("/api/v1/required-checks", required_check | {"rule": rule, "since": "2200-12-31"}).status_code
        == 201
    )
    widest = {"building": str(tested.building_id), "begins": "1900-01-01", "ends": "2200-12-31", "as": shape}
    assert office.get(STATEMENTS, widest).status_code == 200


def test_an_auditor_has_statements_of_own_clients_only(
    door: Door, auditor: User, others: dict[str, Any], tested: Appliance
) -> None:
    mine, theirs = str(tested.building.client_id), str(others["client"].id)
    assert door(auditor).get(STATEMENTS, PERIOD | {"client": mine}).status_code == 200
    for shape in ("json", "pdf", "csv"):
        assert door(auditor).get(STATEMENTS, PERIOD | {"client": theirs, "as": shape}).status_code == 404
