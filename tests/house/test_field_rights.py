"""Who may see and change a field, and what it rests on, stand in its row: held against every body of the API."""

from collections.abc import Iterator
from typing import Any

import pytest

from api.doors import Door
from api.schema import document
from fleet.errors import FleetError, Forbidden
from fleet.intake.fields import Kind, Shape, fields_of, kind_of, read_shape, rights_of, shape_within
from fleet.models import Role, User
from fleet.models.access import ACCESS, Access, may_change
from tests.house.test_access_matrix import routes

# A value that any field of the kind takes.
SAMPLES = {"Text": "some", "Phone": "0000", "Email": "some@heating.example", "YesNo": True}


def doors() -> Iterator[type[Door]]:
    for each in routes():
        door = getattr(each.callback, "view_class", None) or getattr(each.callback, "cls", None)
        if isinstance(door, type) and issubclass(door, Door) and door.shape_in:
            yield door


def shapes(of: type[Shape]) -> Iterator[type[Shape]]:
    yield of
    for info in fields_of(of).values():
        if within := shape_within(info):
            yield from shapes(within)


def rows() -> Iterator[tuple[type[Shape], str, Kind]]:
    for shape in {each for door in doors() if door.shape_in for each in shapes(door.shape_in)}:
        for name, info in fields_of(shape).items():
            if kind := kind_of(info):
                yield shape, name, kind


def test_each_row_names_rights_that_there_are_and_a_proof_that_stands_beside_it() -> None:
    found = list(rows())
    assert len(found) > 250
    assert {kind.under for _shape, _name, kind in found} <= {"", *ACCESS}
    proven = [(shape, kind.proven_by) for shape, _name, kind in found if kind.proven_by]
    assert len(proven) > 15
    for shape, proof in proven:
        assert fields_of(shape)[proof].is_required(), (shape, proof)


def test_who_may_change_the_thing_but_not_the_field_is_refused_by_its_name() -> None:
    refused = []
    for door in set(doors()):
        assert door.shape_in
        for name, row in rights_of(door.shape_in).items():
            given = {name: SAMPLES[type(kind_of(fields_of(door.shape_in)[name])).__name__]}
            for role in Role.values:
                viewer = User(role=role, sees_all_clients=True)
                if may_change(viewer, row):
                    assert read_shape(door.shape_in, given, viewer=viewer, partial=True) == given
                elif may_change(viewer, door.subject):
                    with pytest.raises(Forbidden) as bad:
                        read_shape(door.shape_in, given, viewer=viewer, partial=True)
                    assert list(bad.value.errors) == [name]
                    refused.append((door.__name__, name, role))
    assert refused == [("OwnAlerts", "daily_summary", "technician")]


def test_a_narrower_right_closes_a_field_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    person = next(door.shape_in for door in doors() if door.__name__ == "OnePerson")
    assert person
    monkeypatch.setitem(ACCESS, "contact_details", Access(ACCESS["contact_details"].see, frozenset({Role.MANAGER})))
    dispatcher = User(role=Role.DISPATCHER, sees_all_clients=True)
    assert read_shape(person, {"name": "Ada Lind"}, viewer=dispatcher, partial=True)
    with pytest.raises(FleetError) as bad:
        read_shape(person, {"name": "Ada Lind", "phone": "0000"}, viewer=dispatcher, partial=True)
    assert bad.value.errors == {"phone": ("changed_by", {"roles": ["manager"]})}


def test_the_description_says_who_and_what_it_rests_on() -> None:
    said: dict[str, Any] = document()["components"]["schemas"]
    assert said["PersonIn"]["properties"]["phone"]["x-changed-by"] == ["dispatcher", "manager"]
    assert said["NewStopLevels"]["properties"]["ambient_co_ppm"]["x-proven-by"] == "evidence"
