"""Clients: who makes one may see it."""

from typing import Any

from django.db import transaction

from fleet.models import Client, User
from fleet.services.register import create_entry


@transaction.atomic
def add_client(*, values: dict[str, Any], actor: User) -> Client:
    """A new client; an actor who sees named clients only has this one named too. Raises as `create_entry`."""
    client = create_entry(Client, values)
    if not actor.sees_all_clients:
        actor.clients.add(client)
    return client
