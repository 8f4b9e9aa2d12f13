"""Clients: they own buildings and are the boundary of access."""

from typing import Any

from django.db.models import QuerySet

from api.doors import EntryDoor, EntryListDoor
from api.filters import EXTERNAL_REFERENCE
from api.shapes import EntryIn, EntryOut
from fleet.intake.fields import Text
from fleet.models import Client
from fleet.queries.access import visible_clients
from fleet.services.register import add_client


class ClientIn(EntryIn):
    name = Text(200)
    address = Text(300, required=False)
    contact = Text(300, required=False)


class ClientOut(EntryOut):
    row, columns = Client, "name address contact"


class Clients(EntryListDoor):
    """Clients that you may see."""

    subject, model, shape_in, shape_out = "clients", Client, ClientIn, ClientOut
    filters = (EXTERNAL_REFERENCE,)

    def rows(self) -> QuerySet[Client]:
        return visible_clients(self.viewer)

    def create(self, values: dict[str, Any]) -> Client:
        return add_client(values=values, actor=self.viewer)


class OneClient(EntryDoor):
    """One client."""

    subject, shape_in, shape_out = "clients", ClientIn, ClientOut

    def rows(self) -> QuerySet[Client]:
        return visible_clients(self.viewer)
