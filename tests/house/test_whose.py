"""Whose things are, at every address: who sees named clients only does nothing that is the installation's, and no id of
another client's gets in by a body or a filter."""

from collections.abc import Iterator
from typing import Any, get_args

import pytest
from pydantic import ValidationError
from rest_framework.test import APIClient

from api.fields import Reference
from fleet.errors import NotFound
from fleet.intake.fields import Shape, fields_of, kind_of, partial_of, shape_within
from fleet.models import Appliance, Role, User
from fleet.models.access import ACCESS, Whose
from fleet.models.register import new_id
from tests.house import test_access_matrix
from tests.house.test_access_matrix import METHODS, TABLE, Caller, routes, subject_of

people, things = test_access_matrix.people, test_access_matrix.things
# Pages of the library that logs people in, whose rights are their own.
OWN_RIGHTS = ("account_", "mfa_", "new-password", "api-unknown", "api-documentation", "password", "token-")


def test_every_route_names_its_row_of_the_table_of_rights() -> None:
    named = {each.name: subject_of(each) for each in routes() if not each.name.startswith(OWN_RIGHTS)}
    assert {name for name, subject in named.items() if subject not in ACCESS} == set()


@pytest.fixture
def limited(boiler: Appliance) -> User:
    user = User.objects.create(username="limited", role=Role.MANAGER)
    user.clients.add(boiler.building.client)
    return user


def test_who_sees_named_clients_only_does_nothing_of_the_installation(things: dict[str, str], limited: User) -> None:
    caller, let_in = Caller(limited), {}
    of_all = (Whose.SHARED, Whose.INSTALLATION)
    routed = [each for each in routes() if (subject := subject_of(each)) and ACCESS[subject].whose in of_all]
    assert len(routed) > 30
    for route in routed:
        whose, row = ACCESS[str(subject_of(route))].whose, TABLE[route.name]
        writing = [each for each in METHODS if each != "GET" or whose is Whose.INSTALLATION]
        for method in (each for each in writing if each in row.allowed and (row.kind, each) != ("act", "GET")):
            status = caller.call(row, method, caller.path(route.name, row, things)).status_code
            if status not in (403, 404):
                let_in[f"{method} {route.name}"] = status
    assert let_in == {}


def references(shape: type[Shape], path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Reference]]:
    """Every field that takes an id of what the viewer may see, by its path; of a list "*"."""
    for name, info in fields_of(shape).items():
        inner, kind = shape_within(info), kind_of(info)
        if isinstance(kind, Reference):
            yield (*path, name), kind
        listed = [each for part in (info.annotation, *get_args(info.annotation)) for each in get_args(part)]
        for each in (each for part in listed for each in (part, *get_args(part))):
            if isinstance(each, Reference):
                yield (*path, name, "*"), each
        if inner is not None:
            yield from references(inner, (*path, name))


VIEWS = [(str(each.name), getattr(each.callback, "view_class", None)) for each in routes()]
SHAPES = {view.shape_in for _name, view in VIEWS if getattr(view, "shape_in", None)}
TAKEN = sorted(
    ((shape, path, kind) for shape in SHAPES for path, kind in references(shape)),
    key=lambda each: (each[0].__name__, each[1]),
)
# Of the installation: everybody reads them.
EVERYBODYS = {"ModelSheet", "LimitSet", "Person", "User", "Analyser"}


def test_there_are_ids_in_bodies() -> None:
    assert len(TAKEN) > 20


def test_no_id_of_another_client_s_is_taken_in_a_body(things: dict[str, str], manager: User, outsider: User) -> None:
    wrong = []
    for shape, path, kind in TAKEN:
        ours = kind.query(manager).first()
        if kind.query(manager).model.__name__ in EVERYBODYS:
            continue
        assert ours is not None, kind.query.__name__
        known = [taken(shape, path, *each) for each in ((ours.pk, manager), (ours.pk, outsider), (new_id(), manager))]
        if known != [True, False, False]:
            wrong.append(f"{shape.__name__}.{'.'.join(path)}: {known}")
    assert wrong == []


def taken(shape: type[Shape], path: tuple[str, ...], id: Any, viewer: User) -> bool:
    body: Any = str(id)
    for part in reversed(path):
        body = [body] if part == "*" else {part: body}
    try:
        partial_of(shape).model_validate(body, context={"viewer": viewer})
    except NotFound:
        return False
    except ValidationError:
        return True  # other fields of a part are missing; the id itself was taken
    return True


FILTERED = [(name, view) for name, view in VIEWS if getattr(view, "filters", ())]


def test_no_id_of_another_client_s_is_taken_in_a_filter(things: dict[str, str], outsider: User, boiler: Any) -> None:
    client = APIClient()
    client.force_login(outsider)
    ours = {"client": boiler.building.client_id, "building": boiler.building_id, "appliance": boiler.id}
    asked = {}
    for name, view in FILTERED:
        row = TABLE[name]
        if outsider.role not in row.allowed.get("GET", ()) or row.of:
            continue
        for each in (each.name for each in view.filters if each.name in ours):
            path = Caller(outsider).path(name, row, things).split("?")[0]
            asked[f"{name}?{each}"] = client.get(path, {each: ours[each]}).status_code
    assert len(asked) > 20
    assert {each: status for each, status in asked.items() if status != 404} == {}
