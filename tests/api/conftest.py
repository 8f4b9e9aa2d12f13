"""Everybody at the door: a client of the API for each of the cast, logged in by session."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from fleet.models import Appliance, Client, Role, User
from tests import cast

Door = Callable[[User | None], APIClient]


@pytest.fixture
def door() -> Door:
    """door(user): the API as this user, None for nobody. What fails inside is answered, not raised."""

    def as_user(user: User | None) -> APIClient:
        client = APIClient()
        if user is not None:
            client.force_login(user)
        return client

    return as_user


@pytest.fixture
def office(door: Door, dispatcher: User) -> APIClient:
    return door(dispatcher)


@pytest.fixture
def boss(door: Door, manager: User) -> APIClient:
    return door(manager)


@pytest.fixture
def field(door: Door, technician: User) -> APIClient:
    return door(technician)


@pytest.fixture
def others(manager: User) -> dict[str, Any]:
    """What belongs to another client, and a dispatcher who sees only that."""
    client = Client.objects.create(name="Mill Trust")
    building = cast.make_building(client, "Mill House")
    appliance: Appliance = cast.make_appliance(building, None, "Boiler 9")
    dispatcher = cast.make_user("their dispatcher", Role.DISPATCHER, sees_all_clients=False)
    dispatcher.clients.add(client)
    return {"client": client, "building": building, "appliance": appliance, "dispatcher": dispatcher}
