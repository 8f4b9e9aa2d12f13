"""Entries of the register: every field checked, each change against a version, each id once, whoever retries."""

from collections.abc import Callable
from typing import Any

import pytest

from fleet.errors import Conflict, FleetError, NotFound
from fleet.models import Analyser, Appliance, Building, Calibration, Client, Person, Record, User
from fleet.models.register import new_id
from fleet.services.records import record_once
from fleet.services.register import (
    add_calibration,
    add_client,
    add_qualification,
    change_entry,
    create_entry,
    create_once,
)
from tests import cast
from tests.cast import NOON
from tests.intake.refused import said_of
from tests.services.races import meanwhile

CALIBRATION = {"done_on": "2026-01-10", "valid_to": "2027-01-10", "certificate": "C-7", "by": "lab", "passed": True}
QUALIFICATION = {"scheme": "register", "number": "Q-7", "fuel_kinds": ["gas"], "valid_from": "2026-01-01"}


def refusal(do: Callable[[], Any]) -> FleetError:
    with pytest.raises(FleetError) as refused:
        do()
    return refused.value


# ---- create, change ----


def test_every_field_that_cannot_be_is_named_at_once(client_of_ours: Client) -> None:
    values = {"client": client_of_ours, "name": "", "address": "x", "time_zone": "Mars/Base", "fuel": "coal dust"}
    refused = refusal(lambda: create_entry(model=Building, values=values))
    assert refused.code == "invalid"
    assert set(said_of(refused)) == {"name", "time_zone", "fuel"}
    assert not Building.objects.exists()


def test_a_taken_reference_is_refused_without_saying_whose_it_is(client_of_ours: Client, building: Building) -> None:
    create_entry(model=Client, values={"name": "Mill Trust", "external_reference": "R-1"})
    refused = refusal(lambda: create_entry(model=Client, values={"name": "Other", "external_reference": "R-1"}))
    assert (refused.code, refused.status) == ("reference_taken", 409)
    assert "Mill" not in str(refused)
    # And so by a change; other faults wait their turn.
    changes = {"external_reference": "R-1", "name": ""}
    assert refusal(lambda: change_entry(entry=client_of_ours, version=1, changes=changes)).code == "reference_taken"


def test_no_reference_is_nobodys(installation: User) -> None:
    for name in ("Mill Trust", "Weir Trust"):
        assert create_entry(model=Client, values={"name": name, "external_reference": None}).external_reference is None


def test_a_change_raises_the_version_by_one_and_touches_nothing_else(building: Building) -> None:
    other = cast.make_building(building.client, "Mill House")
    changed = change_entry(entry=building, version=1, changes={"altitude_m": 250.0})
    assert (changed.version, changed.altitude_m, changed.name) == (2, 250.0, "Weir House")
    other.refresh_from_db()
    assert other.version == 1


@pytest.mark.parametrize("version", [0, 2, -1])
def test_another_version_than_the_one_that_stands_changes_nothing(building: Building, version: int) -> None:
    refused = refusal(lambda: change_entry(entry=building, version=version, changes={"name": "Mill House"}))
    assert refused.code == "changed_meanwhile" and f"version {version}" in refused.message
    assert Building.objects.get().name == "Weir House"


def test_of_two_who_read_the_same_version_the_second_reads_again(building: Building) -> None:
    """Other fields or not: nobody overwrites what they haven't seen."""
    mine, theirs = Building.objects.get(), Building.objects.get()
    change_entry(entry=theirs, version=1, changes={"access_notes": "Key at the caretaker's."})
    assert refusal(lambda: change_entry(entry=mine, version=1, changes={"name": "Mill House"})).code == (
        "changed_meanwhile"
    )
    standing = Building.objects.get()
    assert (standing.name, standing.access_notes) == ("Weir House", "Key at the caretaker's.")


def test_a_change_is_checked_as_the_whole_entry_would_be(boiler: Appliance) -> None:
    """In service from 2015: it can't have left before."""
    refused = refusal(lambda: change_entry(entry=boiler, version=1, changes={"in_service_to": "2014-12-31"}))
    assert refused.code == "invalid"
    assert Appliance.objects.get().in_service_to is None


# ---- once per id ----


def made_once(values: dict[str, Any], known: Any = None) -> tuple[Any, bool]:
    return create_once(
        known=Client.objects.all() if known is None else known,
        model=Client,
        values=dict(values),
        create=lambda given: create_entry(model=Client, values=given),
    )


def test_a_retry_finds_what_was_made(installation: User) -> None:
    values = {"id": new_id(), "name": "Mill Trust"}
    first, made = made_once(values)
    again, made_again = made_once(values)
    assert (made, made_again, again) == (True, False, first)
    assert Client.objects.count() == 1


def test_a_retry_with_other_content_is_told_which_field_differs(installation: User) -> None:
    values = {"id": new_id(), "name": "Mill Trust", "address": "1 Mill Lane"}
    made_once(values)
    refused = refusal(lambda: made_once(values | {"address": "2 Mill Lane"}))
    assert (refused.code, refused.status, list(said_of(refused))) == ("id_taken", 409, ["address"])
    # What the retry doesn't say, it doesn't contradict.
    assert made_once({"id": values["id"], "name": "Mill Trust"})[1] is False


def test_an_id_of_somebody_elses_is_as_good_as_not_there(installation: User) -> None:
    values = {"id": new_id(), "name": "Mill Trust"}
    made_once(values)
    refused = refusal(lambda: made_once(values, known=Client.objects.none()))
    assert isinstance(refused, NotFound) and "Mill" not in str(refused)


def test_without_an_id_each_is_a_new_one(installation: User) -> None:
    assert made_once({"name": "Mill Trust"})[0] != made_once({"name": "Mill Trust"})[0]


def test_a_relation_says_the_same_by_its_id(client_of_ours: Client) -> None:
    other = Client.objects.create(name="Mill Trust")
    values = {"id": new_id(), "client": client_of_ours, "name": "Weir House", "address": "", "time_zone": "UTC"}

    def once(given: dict[str, Any]) -> tuple[Any, bool]:
        return create_once(known=Building.objects.all(), model=Building, values=given,
                           create=lambda these: create_entry(model=Building, values=these))  # fmt: skip

    once(values | {"address": "1 Lane"})
    same = Client.objects.get(id=client_of_ours.id)
    assert once(values | {"address": "1 Lane", "client": same})[1] is False
    assert list(refusal(lambda: once(values | {"address": "1 Lane", "client": other})).errors) == ["client"]


def test_who_comes_second_finds_what_the_first_made(installation: User, monkeypatch: pytest.MonkeyPatch) -> None:
    values = {"id": new_id(), "name": "Mill Trust"}
    meanwhile(monkeypatch, lambda: create_entry(model=Client, values=dict(values)))
    found, made = made_once(values)
    assert (found.pk, made) == (values["id"], False)
    assert Client.objects.count() == 1


def test_who_comes_second_with_other_content_is_refused(installation: User, monkeypatch: pytest.MonkeyPatch) -> None:
    values = {"id": new_id(), "name": "Mill Trust"}
    meanwhile(monkeypatch, lambda: create_entry(model=Client, values=values | {"name": "Weir Trust"}))
    assert refusal(lambda: made_once(values)).code == "id_taken"
    assert Client.objects.get().name == "Weir Trust"


def test_a_fault_of_its_own_is_told_as_it_is(installation: User) -> None:
    assert list(refusal(lambda: made_once({"id": new_id(), "name": ""})).errors) == ["name"]
    assert not Client.objects.exists()


# ---- recorded once ----


def recorded(analyser: Analyser, actor: User, id: Any, content: dict[str, Any]) -> tuple[Any, bool]:
    says = {"analyser": str(analyser.id), **content}

    def add() -> Any:
        return add_calibration(analyser=analyser, content=content, actor=actor, now=NOON, id=id)

    return record_once(kind="calibration", id=id, model=Calibration, says=says, add=add)


def test_what_is_recorded_under_an_id_is_recorded_once(analyser: Analyser, manager: User) -> None:
    id, before = new_id(), Record.objects.count()
    first, made = recorded(analyser, manager, id, CALIBRATION)
    again, made_again = recorded(analyser, manager, id, CALIBRATION)
    assert (made, made_again, again) == (True, False, first)
    assert Record.objects.count() == before + 1


def test_other_content_under_a_recorded_id_is_a_conflict_by_field(analyser: Analyser, manager: User) -> None:
    id = new_id()
    recorded(analyser, manager, id, CALIBRATION)
    refused = refusal(lambda: recorded(analyser, manager, id, CALIBRATION | {"by": "another", "passed": False}))
    assert isinstance(refused, Conflict)
    assert set(said_of(refused)) == {"by", "passed"}
    other = cast.make_analyser(manager)
    assert set(refusal(lambda: recorded(other, manager, id, CALIBRATION)).errors) == {"analyser"}


@pytest.mark.parametrize(("theirs", "code"), [(CALIBRATION, None), (CALIBRATION | {"by": "another"}, "id_taken")])
def test_who_records_second_finds_the_first_or_is_refused(
    analyser: Analyser, manager: User, monkeypatch: pytest.MonkeyPatch, theirs: dict[str, Any], code: str | None
) -> None:
    id = new_id()
    say = {"analyser": analyser, "actor": manager, "now": NOON, "id": id}
    meanwhile(monkeypatch, lambda: add_calibration(content=theirs, **say))
    if code is None:
        assert recorded(analyser, manager, id, CALIBRATION)[1] is False
    else:
        assert refusal(lambda: recorded(analyser, manager, id, CALIBRATION)).code == code
    assert Record.objects.filter(subject=id).count() == 1


# ---- clients, calibrations, qualifications ----


def test_a_client_is_named_to_whoever_sees_named_clients_only(installation: User, manager: User) -> None:
    some = cast.make_user("some", "manager", sees_all_clients=False)
    theirs = add_client(values={"name": "Mill Trust"}, actor=some, now=NOON)
    add_client(values={"name": "Weir Trust"}, actor=manager, now=NOON)
    assert list(some.clients.all()) == [theirs]
    assert not manager.clients.exists()


@pytest.mark.parametrize(("valid_to", "refused"), [("2026-01-09", True), ("2026-01-10", False)])
def test_a_calibration_may_end_on_its_day_and_not_before(
    analyser: Analyser, manager: User, valid_to: str, refused: bool
) -> None:
    say = {"analyser": analyser, "actor": manager, "now": NOON, "id": new_id()}
    content, before = CALIBRATION | {"valid_to": valid_to}, Record.objects.count()
    if refused:
        assert list(refusal(lambda: add_calibration(content=content, **say)).errors) == ["valid_to"]
    else:
        assert str(add_calibration(content=content, **say).valid_to) == valid_to
    assert Record.objects.count() == before + (not refused)


@pytest.mark.parametrize(("valid_to", "refused"), [("2025-12-31", True), ("2026-01-01", False)])
def test_a_qualification_may_end_on_its_first_day_and_not_before(
    person: Person, manager: User, valid_to: str, refused: bool
) -> None:
    say = {"person": person, "actor": manager, "now": NOON, "id": new_id()}
    content = QUALIFICATION | {"valid_to": valid_to}
    if refused:
        assert list(refusal(lambda: add_qualification(content=content, **say)).errors) == ["valid_to"]
        assert person.qualifications.count() == 1
    else:
        add_qualification(content=content, **say)
        assert person.qualifications.count() == 2
