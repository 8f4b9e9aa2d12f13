"""Every form of every page, filled in with ids of another client's: nothing is done to them, shown of them or tied to
what is ours."""

import re
import uuid
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from django import forms
from django.apps import apps

from fleet.models import Analyser, Appliance, LimitSet, Revisit, Role, User
from fleet.services.limit_sets import assign_limit_set
from fleet.services.required_checks import add_required_check
from tests import cast
from tests.house import test_access_matrix
from tests.house.test_access_matrix import TABLE, Caller, Row
from tests.web.world import make_foreign

people, things = test_access_matrix.people, test_access_matrix.things
WEB = Path(__file__).parents[2] / "fleet" / "web"
ROLES = (Role.TECHNICIAN, Role.DISPATCHER, Role.MANAGER)
ASKED = re.compile(r"""chosen_id\(request\.POST, "(\w+)"|POST\.getlist\("(\w+)"\)""")


def form_fields() -> Iterator[tuple[str, forms.Field]]:
    """Every field of every form that stands written in a module of the pages."""
    for path in sorted(WEB.glob("[a-z]*.py")):
        for form in vars(import_module(f"fleet.web.{path.stem}")).values():
            if isinstance(form, type) and issubclass(form, forms.Form):
                yield from getattr(form, "base_fields", {}).items()


def ids_asked_for() -> set[str]:
    """Names of what a page may be sent an id in."""
    fields = {
        name
        for name, field in form_fields()
        if isinstance(field, forms.UUIDField) or getattr(field, "coerce", None) is uuid.UUID
    }
    return fields | {
        name for path in WEB.glob("*.py") for pair in ASKED.findall(path.read_text()) for name in pair if name
    }


def filled_in(ids: dict[str, str]) -> dict[str, Any]:
    """What is likely to be taken, so that a form gets as far as its ids."""
    said: dict[str, Any] = {"version": 1, "words": "looked at", "how": "confirm", "sees": "named"}
    for name, field in form_fields():
        if isinstance(field, forms.ChoiceField):
            chosen = next((str(each) for each, _words in field.choices if each), "")
            said.setdefault(name, chosen)
        elif "Day" in type(field).__name__ or isinstance(field, forms.DateField):
            said.setdefault(name, "2026-03-02")
        elif isinstance(field, forms.EmailField):
            said.setdefault(name, "office@heating.example")
        elif isinstance(field, forms.IntegerField):
            said.setdefault(name, "1")
        else:
            said.setdefault(name, "words")
    return said | {name: ids.get(name.removesuffix("s"), ids["visit"]) for name in ids_asked_for()}


def rows_of(ids: set[str]) -> set[tuple[str, Any, str]]:
    """Every row of every table that points at one of these, and by which column."""
    wanted = [uuid.UUID(each) for each in ids]
    return {
        (model.__name__, pk, field.attname)
        for model in apps.get_app_config("fleet").get_models(include_auto_created=True)
        for field in model._meta.concrete_fields
        if field.is_relation and getattr(field.target_field, "get_internal_type", lambda: "")() == "UUIDField"
        for pk in model._default_manager.filter(**{f"{field.attname}__in": wanted}).values_list("pk", flat=True)
    }


def versions(ids: set[str]) -> set[tuple[Any, int]]:
    """Of each of these that can be changed."""
    tables = [each for each in apps.get_app_config("fleet").get_models() if hasattr(each, "version")]
    keyed = [each for each in tables if each._meta.pk.get_internal_type() == "UUIDField"]
    return {row for each in keyed for row in each._default_manager.filter(pk__in=ids).values_list("pk", "version")}


@pytest.fixture
def foreign(boiler: Appliance, analyser: Analyser, technician: User, manager: User) -> dict[str, str]:
    """What may be named of another client's."""
    made = make_foreign(boiler, technician.person, analyser, manager)
    rule = {"type": "max_months", "months": 12}
    terms = {"appliance": made.appliance, "name": "Far check", "source": "contract", "rule": rule, "why": "c",
             "since": made.appliance.in_service_from}  # fmt: skip
    check = add_required_check(values=terms, actor=manager, now=cast.NOON)
    place = {
        "limit_set": LimitSet.objects.earliest("id"),
        "appliance": made.appliance,
        "since": "2025-01-01",
        "why": "w",
    }
    assignment = assign_limit_set(values=place, actor=manager, now=cast.NOON)
    return {
        "client": str(made.client.id), "building": str(made.appliance.building_id), "visit": str(made.visit.id),
        "appliance": str(made.appliance.id), "required_check": str(check.id), "assignment": str(assignment.id),
    }  # fmt: skip


@pytest.fixture
def limited(boiler: Appliance) -> list[User]:
    """Who sees our client alone."""
    users = [cast.make_user(f"our {role}", role, sees_all_clients=False) for role in ROLES]
    for user in users:
        user.clients.add(boiler.building.client)
    return users


def posts(user: User) -> Iterator[tuple[str, Row]]:
    for name, row in TABLE.items():
        if row.kind in ("page", "act") and user.role in row.allowed.get("POST", ()):
            yield name, row


def test_ids_that_pages_ask_for_are_found() -> None:
    assert ids_asked_for() >= {"appliance", "client", "clients", "technician", "assignments", "required_checks", "user"}


def test_no_form_takes_what_belongs_to_another_client(
    things: dict[str, str], foreign: dict[str, str], limited: list[User]
) -> None:
    theirs, wrong = set(foreign.values()), []
    Revisit.objects.update(version=1)

    def stand() -> Any:
        return rows_of(theirs), versions(theirs)

    before, said = stand(), filled_in(foreign)
    done = {name: 0 for user in limited for name, _row in posts(user)}
    for user in limited:
        caller = Caller(user)
        for name, row in posts(user):
            told = caller.call(row, "POST", caller.path(name, row, things), said, stand)
            shown = told.content.decode(errors="replace")
            if told.seen != before or any(each in shown for each in ("Far House", "Far boiler", "Somebody Else")):
                wrong.append((name, user.username, told.status_code))
            done[name] += told.status_code == 302
    assert wrong == []
    assert len(done) > 40
    # So many are done with what of theirs they have no use for: the forms were filled in well enough to be read.
    assert sum(map(bool, done.values())) > 10
