"""Whose things are, at every address: who sees named clients only does nothing that is the installation's, and no id of
another client's gets in by a body or a filter."""

from collections.abc import Collection, Iterator
from typing import Any, get_args

import pytest
from django.test import Client as Browser
from pydantic import ValidationError
from rest_framework.test import APIClient

from api.fields import Reference
from fleet.errors import NotFound
from fleet.intake.fields import Shape, fields_of, kind_of, partial_of, shape_within
from fleet.models import Appliance, Client, Role, User
from fleet.models.access import ACCESS, Whose
from fleet.models.register import new_id
from fleet.services.calendars import make_address
from tests import cast
from tests.house import test_access_matrix
from tests.house.test_access_matrix import METHODS, TABLE, Caller, is_let_in, routes, said_in, subject_of
from tests.web.opened import has_shown

people, things, strangers = test_access_matrix.people, test_access_matrix.things, test_access_matrix.strangers
# Pages of the library that logs people in, whose rights are their own.
OF_THEIRS = (Whose.CLIENTS, Whose.OWN)
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


def test_who_sees_named_clients_only_does_what_is_these_clients_and_their_own(
    things: dict[str, str], limited: User, technician: User, client_of_ours: Client
) -> None:
    """What an auditor of one client may open is in the access matrix."""
    technician.sees_all_clients = False  # else only who sees all clients acts on their log-in
    technician.save()
    technician.clients.add(client_of_ours)
    caller, refused, asked = Caller(limited), {}, 0
    routed = [each for each in routes() if (subject := subject_of(each)) and ACCESS[subject].whose in OF_THEIRS]
    for route in routed:
        row = TABLE[route.name]
        for method, roles in row.allowed.items():
            if Role.MANAGER in roles and not (method == "GET" and (Role.AUDITOR in roles or row.kind == "act")):
                answer, asked = caller.call(row, method, caller.path(route.name, row, things)), asked + 1
                if not is_let_in(answer):
                    refused[f"{method} {route.name}"] = answer.status_code
    assert asked > 60
    assert refused == {}


def test_nobody_reads_by_another_method_and_no_form_is_taken_from_elsewhere(
    things: dict[str, str], manager: User
) -> None:
    """HEAD is as GET, OPTIONS says nothing; a page's form needs the page's own token."""
    wrong = {}
    nobody, elsewhere = Caller(None), Caller(manager)
    elsewhere.client.handler.enforce_csrf_checks = True
    for name, row in TABLE.items():
        path = nobody.path(name, row, things)
        for method in ("HEAD", "OPTIONS"):
            answer = nobody.call(row, method, path)
            if (method == "HEAD" and answer.content) or (is_let_in(answer) and row.kind not in ("open", "nothing")):
                wrong[f"{method} {name}"] = answer.status_code
        if row.kind != "nothing" and "POST" in row.allowed:
            status = elsewhere.call(row, "POST", elsewhere.path(name, row, things)).status_code
            if status != 403:
                wrong[f"POST {name} from elsewhere"] = status
    assert wrong == {}


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


# ---- what stands in answers, and what forms take ----


# The same for everybody, and slow; what is in it stands in the answers themselves.
DESCRIPTIONS = ("api-schema", "api-documentation")


def opened_by(user: User, things: dict[str, str], names: Collection[str], query: str = "") -> Iterator[tuple[str, Any]]:
    """Of these addresses those that this role may read, with what each answers."""
    caller = Caller(user)
    for name in names:
        row = TABLE[name]
        if user.role in row.allowed.get("GET", ()):
            path = caller.path(name, row, things)
            yield name, caller.call(row, "GET", f"{path}{'&' if '?' in path else '?'}{query}" if query else path)


def test_nothing_of_a_client_stands_in_any_answer_to_who_sees_another(
    things: dict[str, str], strangers: list[User], boiler: Appliance
) -> None:
    """Lists, pages, feeds; what is one client's own is not found at all (`test_access_matrix`)."""
    building, found = boiler.building, []
    ours = (building.client.name, building.name, building.address, boiler.serial, str(building.id), str(boiler.id))
    lists = [name for name, row in TABLE.items() if row.kind in ("api", "page") and not row.bound]
    lists = [name for name in lists if name not in DESCRIPTIONS]
    for user in strangers:
        asked = [*opened_by(user, things, lists)]
        assert sum(answer.status_code == 200 for _name, answer in asked) > 40
        pages = [name for name in lists if TABLE[name].kind == "page"]
        asked += opened_by(user, things, pages, f"client={building.client_id}&building={building.id}")
        if user.role != Role.AUDITOR:
            _address, secret = make_address(user=user, client=None, actor=user, now=cast.NOON)
            asked.append(("calendar-feed", APIClient().get(f"/calendar/{secret}.ics")))
        found += [(name, user.role, each) for name, answer in asked for each in ours if each in said_in(answer)]
    assert found == []


def test_a_form_takes_no_id_of_another_client(things: dict[str, str], strangers: list[User]) -> None:
    manager, ours = next(each for each in strangers if each.role == Role.MANAGER), things["client"]
    browser = Browser()
    browser.force_login(manager)
    has_shown(browser)
    own = manager.clients.get().id
    invited = {"name": "Cy", "username": "cy", "role": "auditor", "sees": "named"}
    hook = {"name": "office", "url": "https://office.example/in", "kinds": "flag_opened"}
    token = {"name": "export", "scope": "read", "days": "1"}
    for path, form, field, given in (
        ("/people/", invited, "clients", "{}"),
        ("/account/tokens/", token, "clients", "{}"),
        ("/webhooks/", hook, "client", "{}"),
        ("/calendars/", {}, "whose", "client {}"),
    ):
        refused = browser.post(path, form | {field: given.format(ours)})
        assert refused.status_code in (400, 404, 422), path
        assert browser.post(path, form | {field: given.format(own)}).status_code in (200, 302), path
    assert not User.objects.filter(username="cy", clients=ours).exists()
