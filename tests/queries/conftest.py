"""The world that every query is asked about, made once a file: looking changes nothing."""

from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django import DjangoDbBlocker

from fleet.models import ModelSheet, SheetVersion
from tests.models.rows import made
from tests.queries.world import World, make_world


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    with django_db_blocker.unblock(), transaction.atomic():
        sheet = made(ModelSheet, name="One for all")
        made(SheetVersion, sheet=sheet, number=1)
        yield make_world(sheet)
        transaction.set_rollback(True)
