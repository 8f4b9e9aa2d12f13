"""Who goes on the day of a revisit, through the API: named, changed, cleared, and what speaks against it."""

from datetime import date

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, Person, Revisit, Role, User
from fleet.models.register import new_id
from tests.cast import NOON, make_person, propose_revisit
from tests.services.test_revisits import under

DAY = "2190-04-01"
SET = {"state": "confirmed", "day": DAY}


@pytest.fixture
def revisit(boiler: Appliance, manager: User) -> Revisit:
    under(boiler, manager, "Yearly", {"type": "max_months", "months": 24}, date(2025, 12, 1))
    proposed = propose_revisit(appliance=boiler, now=NOON)
    assert proposed is not None
    return proposed


@pytest.fixture
def path(revisit: Revisit) -> str:
    return f"/api/v1/revisits/{revisit.id}"


def test_who_goes_is_named_changed_and_cleared_with_the_day(
    path: str, person: Person, manager: User, office: APIClient
) -> None:
    person.qualifications.update(valid_to=date(2191, 1, 1))
    other = make_person("Bo Test", None, manager, valid_to="2191-01-01")
    version = {"If-Match": office.get(path)["ETag"]}
    for given, name in ((person, "Ada Test goes."), (other, "Bo Test goes.")):
        made = office.post(f"{path}/book", SET | {"technician": str(given.id)}, headers=version)
        assert (made.json()["technician"], made.json()["who_words"]) == (str(given.id), name)
        version = {"If-Match": made["ETag"]}
    made = office.post(f"{path}/book", SET | {"technician": None}, headers=version)
    assert (made.json()["technician"], made.json()["who_words"]) == (None, "Nobody is named to go.")
    released = office.post(f"{path}/release", {"note": "sick"}, headers={"If-Match": made["ETag"]})
    assert (released.json()["technician"], released.json()["who_words"]) == (None, "")


def test_whoever_is_not_qualified_for_the_day_is_accepted_and_said(
    path: str, person: Person, office: APIClient
) -> None:
    given = SET | {"technician": str(person.id)}
    made = office.post(f"{path}/book", given, headers={"If-Match": office.get(path)["ETag"]})
    words = "Ada Test goes. Ada Test has no qualification for gas in force on 1 April 2190."
    assert (made.status_code, made.json()["who_words"]) == (200, words)


def test_whoever_is_unknown_or_no_technician_is_refused_by_name(path: str, revisit: Revisit, office: APIClient) -> None:
    version = {"If-Match": office.get(path)["ETag"]}
    clerk = Person.objects.create(name="Cy Test", role=Role.DISPATCHER)
    refused = office.post(f"{path}/book", SET | {"technician": str(clerk.id)}, headers=version)
    assert refused.json()["errors"] == {"technician": "is Cy Test, dispatcher; it must be a technician of the register"}
    unknown = office.post(f"{path}/book", SET | {"technician": str(new_id())}, headers=version)
    assert (unknown.status_code, list(unknown.json()["errors"])) == (404, ["technician"])
    garbled = office.post(f"{path}/book", SET | {"technician": "Ada"}, headers=version)
    assert (garbled.status_code, list(garbled.json()["errors"])) == (422, ["technician"])
    assert Revisit.objects.get(id=revisit.id).day is None


def test_the_list_is_narrowed_to_whom_and_to_nobody(
    path: str, revisit: Revisit, person: Person, office: APIClient
) -> None:
    def listed(query: str) -> list[str]:
        return [each["id"] for each in office.get(f"/api/v1/revisits?{query}").json()["results"]]

    assert listed("unnamed=true") == []
    made = office.post(f"{path}/book", SET, headers={"If-Match": office.get(path)["ETag"]})
    assert listed("unnamed=true") == [str(revisit.id)]
    assert listed(f"technician={person.id}") == []
    office.post(f"{path}/book", SET | {"technician": str(person.id)}, headers={"If-Match": made["ETag"]})
    assert listed("unnamed=true") == []
    assert listed(f"technician={person.id}") == [str(revisit.id)]


def test_attention_names_days_without_anybody(path: str, revisit: Revisit, office: APIClient) -> None:
    office.post(f"{path}/book", SET, headers={"If-Match": office.get(path)["ETag"]})
    shown = office.get("/api/v1/attention").json()
    assert ([each["id"] for each in shown["unnamed"]], shown["unnamed_count"]) == ([str(revisit.id)], 1)
    assert shown["in_doubt"] == []
